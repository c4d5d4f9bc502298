#include "soak/start_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/statistics.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;

constexpr Duration steady_window = std::chrono::minutes{1};

bool is_like(double a, double b) { return std::fabs(a - b) <= StartWatch::like_share * std::fabs(b); }

}  // namespace

StartWatch::StartWatch(const profile::Profile& profile) : profile_(&profile), is_watched_(profile.points.size()), samples_(profile.points.size()) {
  draw_ = profile.first_of(Role::mains_power);
  if (!draw_) draw_ = profile.first_of(Role::mains_current);
  const bool is_programme = profile.drive == profile::Drive::programme;  // music is different each time: only what it does not move
  for (std::size_t i = 0; i < profile.points.size(); ++i) {
    const Role role = profile.points[i].role;
    is_watched_[i] = role == Role::supply || role == Role::heater || (!is_programme && (role == Role::bias || role == Role::supply_current));
  }
  if (draw_ && !is_programme) is_watched_[draw_->index] = true;
}

void StartWatch::begin(Timestamp at) {
  began_ = at;
  for (auto& samples : samples_) samples.clear();
}

std::optional<Start> StartWatch::take(const Reading& reading) {
  if (!began_) return std::nullopt;
  if (reading.at() - *began_ <= window) {
    auto& samples = samples_[reading.point().index];
    if (is_watched_[reading.point().index] && samples.size() < samples_max) samples.push_back({reading.at() - *began_, reading.value()});
    return std::nullopt;
  }
  began_.reset();
  Start start = judge();
  if (start.points.empty()) return std::nullopt;
  return start;
}

Start StartWatch::judge() const {
  Start start;
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    const auto& samples = samples_[i];
    if (samples.size() < samples_min) continue;
    std::vector<double> last;
    for (const Sample& sample : samples)
      if (sample.after >= samples.back().after - steady_window) last.push_back(sample.value);
    Start::Point point{PointId{static_cast<std::uint16_t>(i)}, analysis::median_in_place(last), {}};
    const auto reached = std::find_if(samples.begin(), samples.end(), [&](const Sample& sample) { return std::fabs(sample.value) >= steady_share * std::fabs(point.steady); });
    point.reached = reached->after;
    for (std::size_t s = 1; s < samples.size(); ++s) start.distance = std::max(start.distance, samples[s].after - samples[s - 1].after);
    start.points.push_back(point);
    if (draw_ && draw_->index == i) {
      start.draw = draw_;
      for (const Sample& sample : samples) start.peak = std::max(start.peak, sample.value);
    }
  }
  return start;
}

std::string StartWatch::text(const Start& start) const {
  std::string text;
  if (start.draw) text = fmt::format("at most {}", figure(profile_->point(*start.draw), start.peak));
  std::vector<Role> told;
  for (const Start::Point& one : start.points) {
    const profile::Point& point = profile_->point(one.id);
    if (std::find(told.begin(), told.end(), point.role) != told.end()) continue;
    told.push_back(point.role);
    const Start::Point* slowest = &one;
    for (const Start::Point& other : start.points)
      if (profile_->point(other.id).role == point.role && other.reached > slowest->reached) slowest = &other;
    text += fmt::format("{}{} {}, 90 % of it after {}", text.empty() ? "" : "; ", profile_->point(slowest->id).name, figure(profile_->point(slowest->id), slowest->steady), span_text(slowest->reached));
  }
  return text;
}

std::string StartWatch::difference(const Start& start, const Start& first) const {
  std::string text;
  const auto say = [&](std::string part) { text += (text.empty() ? "" : "; ") + std::move(part); };
  const bool has_seen_peaks = std::max(start.distance, first.distance) <= peak_seen_at;
  if (start.draw && first.draw && has_seen_peaks && !is_like(start.peak, first.peak)) {
    const profile::Point& point = profile_->point(*start.draw);
    say(fmt::format("{} at most {}, the first time {}", point.name, figure(point, start.peak), figure(point, first.peak)));
  }
  for (const Start::Point& before : first.points) {
    const profile::Point& point = profile_->point(before.id);
    const auto now = std::find_if(start.points.begin(), start.points.end(), [&](const Start::Point& one) { return one.id == before.id; });
    if (now == start.points.end()) {
      say(point.name + " was not seen");
      continue;
    }
    if (!is_like(now->steady, before.steady)) say(fmt::format("{} {}, the first time {}", point.name, figure(point, now->steady), figure(point, before.steady)));
    // A meter that is read seldom sees a start only so well.
    const Duration share{static_cast<Duration::rep>(like_share * static_cast<double>(before.reached.count()))};
    const Duration slack = std::max({like_least, 2 * std::max(start.distance, first.distance), share});
    if (std::chrono::abs(now->reached - before.reached) > slack) say(fmt::format("{} stands after {}, the first time after {}", point.name, span_text(now->reached), span_text(before.reached)));
  }
  return text;
}

}  // namespace steadyglow::soak
