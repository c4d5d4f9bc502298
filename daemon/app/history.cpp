#include "app/history.hpp"

#include <cmath>

#include "store/reader.hpp"

namespace steadyglow::app {

Result<nlohmann::json> read_history(const std::string& store_file, std::int64_t run, const std::vector<PointId>& points,
                                    const std::vector<std::string>& names, const http::HistoryRequest& request) {
  using Json = nlohmann::json;
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return tl::unexpected(reader.error());
  const auto newest = (*reader)->last_readings_at(run);
  if (!newest) return tl::unexpected(newest.error());
  const Timestamp from = at_ms(std::llround(request.from_s * 1000.0));
  const Timestamp end = newest->value_or(from) + Duration{1};
  const Timestamp to = request.to_s ? at_ms(std::llround(*request.to_s * 1000.0)) : std::max(end, from + Duration{1});
  const auto history = (*reader)->history(run, points, from, to, static_cast<std::size_t>(request.buckets));
  if (!history) return tl::unexpected(history.error());

  Json json{{"run", run}, {"from_s", seconds_of(from)}, {"to_s", seconds_of(to)}, {"bucket_s", history->bucket_seconds()}};
  Json times = Json::array();
  for (std::size_t i = 0; i < history->buckets; ++i) times.push_back(history->bucket_start_seconds(i));
  json["time_s"] = std::move(times);
  json["series"] = Json::array();
  for (std::size_t p = 0; p < points.size(); ++p) {
    Json series{{"point", names[p]}, {"min", Json::array()}, {"mean", Json::array()}, {"max", Json::array()}};
    for (const auto& bucket : history->series[p]) {
      series["min"].push_back(bucket ? Json(bucket->min) : Json(nullptr));
      series["mean"].push_back(bucket ? Json(bucket->mean) : Json(nullptr));
      series["max"].push_back(bucket ? Json(bucket->max) : Json(nullptr));
    }
    json["series"].push_back(std::move(series));
  }
  return json;
}

}  // namespace steadyglow::app
