#include "soak/event_json.hpp"

namespace steadyglow::soak {

using Json = nlohmann::ordered_json;

Json to_json(const OpenBench& event) { return {{"time_s", seconds_of(event.at)}, {"reason", event.reason}}; }
Json to_json(const CloseOutlet& event) { return {{"time_s", seconds_of(event.at)}, {"who", event.who}, {"reason", event.reason}}; }
Json to_json(const SwitchOnDue& event) { return {{"time_s", seconds_of(event.at)}, {"who", event.who}, {"reason", event.reason}}; }
Json to_json(const BleedDown& event) { return {{"time_s", seconds_of(event.at)}, {"volts", event.volts}, {"is_safe", event.is_safe}, {"text", event.text}}; }

Json to_json(const SegmentChange& event, const profile::Profile& profile) {
  Json points = Json::array();
  for (const PointId point : event.points) points.push_back(profile.point(point).name);
  return {{"time_s", seconds_of(event.at)}, {"number", event.number}, {"points", std::move(points)}, {"who", event.who}, {"why", event.why}};
}

Json to_json(const StartUp& event) { return {{"time_s", seconds_of(event.at)}, {"cycle", event.cycle}, {"is_like_the_first", event.is_like_the_first}, {"text", event.text}}; }
Json to_json(const Signature& event) { return {{"time_s", seconds_of(event.at)}, {"who", event.who}, {"word", event.word}, {"note", event.note}}; }

}  // namespace steadyglow::soak
