#include "app/last_hours.hpp"

#include <algorithm>

#include "store/reader.hpp"

namespace steadyglow::app {
namespace {

constexpr std::size_t buckets = 160;

}  // namespace

PictureRequest picture_request(const UnitSession& session, const std::string& guilty) {
  const profile::Profile& profile = session.settings().profile;
  PictureRequest request;
  request.run = session.run_id().value_or(0);
  const auto add = [&](std::optional<PointId> point) {
    if (point && std::find(request.points.begin(), request.points.end(), *point) == request.points.end()) request.points.push_back(*point);
  };
  const auto first = profile.find(guilty);
  add(first);
  if (first && !profile.point(*first).matched_with.empty()) add(profile.point(*first).matched_with.front());
  add(profile.first_of(profile::Role::mains_power));
  for (const auto role : {profile::Role::heatsink, profile::Role::transformer, profile::Role::motor, profile::Role::chassis}) {
    if (request.points.size() >= notify::traces_max) break;
    add(profile.first_of(role));
  }
  const soak::Engine& engine = *session.engine();
  request.to = engine.now() + Duration{1};
  request.from = std::max(Timestamp{}, request.to - picture_span);
  request.picture.title = session.settings().title + ", the last two hours of its run";
  request.picture.from_s = seconds_of(request.from);
  request.picture.to_s = seconds_of(request.to);
  if (engine.power() != soak::Power::on) request.picture.cut_s = seconds_of(engine.off_ordered_at());
  for (const PointId id : request.points) {
    const profile::Point& point = profile.point(id);
    request.picture.traces.push_back({point.name, std::string(point.uom.shown), {}, point.warn.low, point.warn.high, point.trip.low, point.trip.high});
  }
  return request;
}

std::string draw_from(const std::string& store_file, PictureRequest request) {
  auto reader = store::StoreReader::open(store_file);
  if (!reader || request.points.empty()) return {};
  const auto history = (*reader)->history(request.run, request.points, request.from, request.to, buckets);
  if (!history) return {};
  for (std::size_t i = 0; i < request.points.size(); ++i)
    for (const auto& bucket : history->series[i]) request.picture.traces[i].values.push_back(bucket ? std::optional(bucket->mean) : std::nullopt);
  return notify::draw_picture(request.picture).value_or(std::string{});
}

}  // namespace steadyglow::app
