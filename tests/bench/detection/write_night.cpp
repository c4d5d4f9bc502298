#include "bench/detection/write_night.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <stdexcept>

namespace steadyglow::detection {
namespace {

std::ofstream create(const std::filesystem::path& path) {
  std::ofstream file(path);
  if (!file) throw std::runtime_error("cannot write " + path.string());
  return file;
}

std::string name_of(const Order& order) {
  std::string name = fmt::format("{}-{}-{}", order.unit, order.fault.empty() ? "healthy" : order.fault, order.seed);
  for (char& c : name)
    if (c == ' ' || c == ':' || c == '/') c = '-';
  return name;
}

nlohmann::json json_of(const Truth& truth, const profile::Profile& profile) {
  nlohmann::json json{{"unit", truth.unit}, {"fault", truth.fault}, {"seed", truth.seed}, {"hours", truth.hours}, {"period_s", truth.period_seconds}};
  if (truth.size == Size::none) return json;
  json["onset_s"] = truth.onset;
  json["effect_max"] = truth.effect;
  if (truth.seen_at) json["seen_s"] = *truth.seen_at;
  if (truth.damage_at) json["damage_s"] = *truth.damage_at;
  for (const PointId id : truth.points) json["points"].push_back(profile.point(id).name);
  json["kinds"] = truth.kinds;
  return json;
}

}  // namespace

void write_night(const Order& order, const std::string& folder) {
  const std::filesystem::path base = std::filesystem::path(folder) / name_of(order);
  std::filesystem::create_directories(folder);
  Night night(order);
  create(base.string() + ".toml") << night.profile_text();
  std::ofstream csv = create(base.string() + ".csv");
  csv << "time_s";
  for (const profile::Point& point : night.profile().points) csv << ',' << point.name;
  csv << '\n';
  Timestamp at{};
  std::vector<Reading> readings;
  std::vector<std::string> cells(night.profile().points.size());
  while (night.next(at, readings)) {
    std::fill(cells.begin(), cells.end(), std::string());
    for (const Reading& reading : readings)
      cells[reading.point().index] = reading.is_good() ? fmt::format("{:.10g}", reading.value()) : std::string(to_word(reading.quality()));
    csv << fmt::format("{:.3f}", seconds_of(at));
    for (const std::string& cell : cells) csv << ',' << cell;
    csv << '\n';
  }
  if (!csv.flush()) throw std::runtime_error("cannot write " + base.string() + ".csv");
  create(base.string() + ".json") << json_of(night.truth(), night.profile()).dump(2) << '\n';
}

}  // namespace steadyglow::detection
