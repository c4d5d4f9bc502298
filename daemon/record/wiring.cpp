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

/// Pairs of value and standard uncertainty, rising by value; what is no such list is none.
std::vector<ValueDoubt> doubts_of(const Json& json) {
  constexpr std::size_t doubts_max = 64;
  const auto list = json.find("doubts");
  if (list == json.end() || !list->is_array() || list->size() > doubts_max) return {};
  std::vector<ValueDoubt> doubts;
  for (const Json& one : *list) {
    if (!one.is_array() || one.size() != 2 || !one[0].is_number() || !one[1].is_number()) return {};
    const ValueDoubt doubt{one[0].get<double>(), one[1].get<double>()};
    const bool is_rising = doubts.empty() || doubt.value > doubts.back().value;
    if (!std::isfinite(doubt.value) || !std::isfinite(doubt.standard) || doubt.standard < 0.0 || !is_rising) return {};
    doubts.push_back(doubt);
  }
  return doubts;
}

std::vector<std::string> texts_of(const Json& json, const char* key) {
  std::vector<std::string> texts;
  const auto list = json.find(key);
  if (list == json.end() || !list->is_array()) return texts;
  for (const Json& one : *list)
    if (one.is_string()) texts.push_back(one.get<std::string>());
  return texts;
}

}  // namespace

const Wire* Wiring::find(std::string_view point) const {
  const auto found = std::find_if(wires.begin(), wires.end(), [&](const Wire& wire) { return wire.point == point; });
  return found == wires.end() ? nullptr : &*found;
}

std::optional<double> Wire::standard_uncertainty(double value) const {
  if (doubts.empty()) return std::nullopt;
  const auto above = std::find_if(doubts.begin(), doubts.end(), [&](const ValueDoubt& doubt) { return doubt.value >= value; });
  if (above == doubts.end() || value < doubts.front().value) return std::nullopt;
  if (above == doubts.begin()) return above->standard;
  const ValueDoubt& below = *(above - 1);
  return below.standard + (above->standard - below.standard) * (value - below.value) / (above->value - below.value);
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
    if (!wire.chain.empty()) json["chain"] = wire.chain;
    for (const ValueDoubt& doubt : wire.doubts) json["doubts"].push_back({doubt.value, doubt.standard});
    if (!wire.doubt_without.empty()) json["doubt_without"] = wire.doubt_without;
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
    Wire wire;
    wire.point = text_of(one, "point");
    wire.meter = meter->get<std::size_t>();
    wire.channel = text_of(one, "channel");
    wire.factor = number_of(one, "factor", 1.0);
    wire.chain = text_of(one, "chain");
    wire.doubts = doubts_of(one);
    wire.doubt_without = texts_of(one, "doubt_without");
    if (const auto accuracy = one.find("accuracy"); accuracy != one.end() && accuracy->is_object()) wire.accuracy = accuracy_of(*accuracy);
    wiring.wires.push_back(std::move(wire));
  }
  return wiring;
}

}  // namespace steadyglow::record
