#include "record/wiring.hpp"

#include <algorithm>
#include <cmath>

#include <nlohmann/json.hpp>

namespace steadyglow::record {
namespace {

using Json = nlohmann::ordered_json;

std::string text_of(const Json& json, const char* key) {
  const auto found = json.find(key);
  return found != json.end() && found->is_string() ? found->get<std::string>() : std::string{};
}

double number_of(const Json& json, const char* key, double otherwise) {
  const auto found = json.find(key);
  if (found == json.end() || !found->is_number()) return otherwise;
  const double value = found->get<double>();
  return std::isfinite(value) ? value : otherwise;
}

Json to_json(const profile::Accuracy& accuracy) {
  Json json = Json::object();
  const auto say = [&](const char* key, double value) {
    if (value != 0.0) json[key] = value;
  };
  say("percent_of_reading", accuracy.percent_of_reading);
  say("counts", accuracy.counts);
  say("resolution", accuracy.resolution);
  say("percent_of_range", accuracy.percent_of_range);
  say("range", accuracy.range);
  say("fixed", accuracy.fixed);
  return json;
}

profile::Accuracy accuracy_of(const Json& json) {
  const auto figure = [&](const char* key) { return std::max(0.0, number_of(json, key, 0.0)); };
  return {.percent_of_reading = figure("percent_of_reading"), .counts = figure("counts"), .resolution = figure("resolution"),
          .percent_of_range = figure("percent_of_range"), .range = figure("range"), .fixed = figure("fixed")};
}

}  // namespace

const Wire* Wiring::find(std::string_view point) const {
  const auto found = std::find_if(wires.begin(), wires.end(), [&](const Wire& wire) { return wire.point == point; });
  return found == wires.end() ? nullptr : &*found;
}

std::string to_json_text(const Wiring& wiring) {
  Json meters = Json::array();
  for (const Meter& meter : wiring.meters) {
    Json json{{"name", meter.name}, {"instrument", meter.instrument}, {"where", meter.where}};
    const auto say = [&](const char* key, const std::string& text) {
      if (!text.empty()) json[key] = text;
    };
    say("serial", meter.serial);
    say("identification", meter.identification);
    say("calibrated", meter.calibrated);
    say("calibration_due", meter.calibration_due);
    meters.push_back(std::move(json));
  }
  Json wires = Json::array();
  for (const Wire& wire : wiring.wires) {
    Json json{{"point", wire.point}, {"meter", wire.meter}, {"channel", wire.channel}, {"factor", wire.factor}};
    if (wire.accuracy) json["accuracy"] = to_json(*wire.accuracy);
    wires.push_back(std::move(json));
  }
  const Json json{{"clock_rate", wiring.clock_rate}, {"meters", std::move(meters)}, {"wires", std::move(wires)}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Result<Wiring> wiring_from_json(const std::string& text) {
  const auto wrong = [] { return fail(Fault::bad_data, "which meters a run was read by cannot be understood", "its event `wiring` is described in daemon/store/FORMAT.md"); };
  const Json json = Json::parse(text, nullptr, false);
  if (!json.is_object()) return wrong();
  Wiring wiring;
  wiring.clock_rate = number_of(json, "clock_rate", 1.0);
  if (!(wiring.clock_rate > 0.0)) return wrong();
  const auto list = [&](const char* key) {
    const auto found = json.find(key);
    return found != json.end() && found->is_array() ? *found : Json::array();
  };
  for (const Json& one : list("meters")) {
    if (!one.is_object()) return wrong();
    wiring.meters.push_back({text_of(one, "name"), text_of(one, "instrument"), text_of(one, "where"), text_of(one, "serial"), text_of(one, "identification"), text_of(one, "calibrated"),
                             text_of(one, "calibration_due")});
  }
  for (const Json& one : list("wires")) {
    const auto meter = one.is_object() ? one.find("meter") : one.end();
    if (!one.is_object() || meter == one.end() || !meter->is_number_unsigned() || meter->get<std::size_t>() >= wiring.meters.size()) return wrong();
    Wire wire{text_of(one, "point"), meter->get<std::size_t>(), text_of(one, "channel"), number_of(one, "factor", 1.0), {}};
    if (const auto accuracy = one.find("accuracy"); accuracy != one.end() && accuracy->is_object()) wire.accuracy = accuracy_of(*accuracy);
    wiring.wires.push_back(std::move(wire));
  }
  return wiring;
}

}  // namespace steadyglow::record
