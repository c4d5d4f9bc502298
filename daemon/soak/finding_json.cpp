#include "soak/finding_json.hpp"

#include <nlohmann/json.hpp>

namespace steadyglow::soak {

nlohmann::ordered_json to_json(const Finding& finding, const profile::Profile& profile) {
  using Json = nlohmann::ordered_json;
  const auto figure = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
  Json points = Json::array();
  for (const PointId point : finding.points) points.push_back(profile.point(point).name);
  Json json;
  json["time_s"] = seconds_of(finding.at);
  json["point"] = points.empty() ? Json(nullptr) : points.front();
  json["points"] = points;
  json["kind"] = to_word(finding.kind);
  json["severity"] = to_word(finding.severity);
  json["state"] = finding.is_raised ? "raised" : "cleared";
  json["value"] = figure(finding.value);
  json["limit"] = figure(finding.limit);
  json["uom"] = finding.uom.empty() ? Json(nullptr) : Json(finding.uom);
  json["message"] = finding.message;
  return json;
}

}  // namespace steadyglow::soak
