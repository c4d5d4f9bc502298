#include "record/compare_json.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

namespace steadyglow::record {
namespace {

using Json = nlohmann::ordered_json;

template <class T>
Json maybe(const std::optional<T>& value) {
  return value ? Json(*value) : Json(nullptr);
}

Json side(const SideFigure& side) {
  return {{"as_measured", side.as_measured}, {"value", side.value}, {"when", side.when}, {"meter_standard_uncertainty", side.is_meter_stated ? Json(side.meter) : Json(nullptr)},
          {"wander", side.wander}, {"per_hour", side.per_hour}, {"mains_volts", maybe(side.mains_volts)}, {"room_celsius", maybe(side.room_celsius)}};
}

Json label(const RunLabel& label) {
  return {{"run", label.run}, {"unit", label.unit}, {"title", label.title}, {"serial", label.serial}, {"started_utc", label.started_utc}, {"verdict", label.verdict},
          {"counted_hours", label.counted_hours}, {"mains_volts", maybe(label.mains_volts)}, {"room_celsius", maybe(label.room_celsius)}};
}

/// Six significant digits are more than any meter here has; a line of hundreds of steps stays short.
double short_number(double value) {
  if (value == 0.0 || !std::isfinite(value)) return value;
  const double scale = std::pow(10.0, 5.0 - std::floor(std::log10(std::fabs(value))));
  return std::round(value * scale) / scale;
}

Json line(const OverlayLine& line) {
  Json hours = Json::array();
  Json values = Json::array();
  for (std::size_t i = 0; i < line.hours.size(); ++i) {
    hours.push_back(short_number(line.hours[i]));
    values.push_back(line.values[i] ? Json(short_number(*line.values[i])) : Json(nullptr));
  }
  return {{"hours", std::move(hours)}, {"values", std::move(values)}};
}

}  // namespace

Json to_json(const Comparison& made) {
  Json points = Json::array();
  for (const PointDifference& d : made.points)
    points.push_back({{"point", d.point}, {"words", d.words}, {"role", d.role_words}, {"uom", d.uom}, {"earlier", side(d.earlier)}, {"later", side(d.later)}, {"difference", d.difference},
                      {"share", maybe(d.share)}, {"expanded_uncertainty", d.expanded_uncertainty}, {"coverage_factor", 2}, {"standing", to_word(d.standing)},
                      {"mains_exponent", d.mains_exponent}, {"is_exponent_learned", d.is_exponent_learned}, {"conditions", d.conditions}, {"sentence", d.sentence}});
  Json overlays = Json::array();
  for (const Overlay& o : made.overlays)
    overlays.push_back({{"point", o.point}, {"words", o.words}, {"uom", o.uom},
                        {"by_switch_on", {{"earlier", line(o.earlier_by_switch_on)}, {"later", line(o.later_by_switch_on)}}},
                        {"by_counted", {{"earlier", line(o.earlier_by_counted)}, {"later", line(o.later_by_counted)}}}});
  return {{"earlier", label(made.earlier)}, {"later", label(made.later)}, {"sentences", made.sentences}, {"remarks", made.remarks}, {"points", std::move(points)},
          {"only_earlier", made.only_earlier}, {"only_later", made.only_later}, {"overlays", std::move(overlays)}};
}

Json to_json(const ModelComparison& made) {
  Json earlier = Json::array();
  for (const RunLabel& run : made.earlier) earlier.push_back(label(run));
  Json points = Json::array();
  for (const ModelPoint& p : made.points)
    points.push_back({{"point", p.point}, {"words", p.words}, {"role", p.role_words}, {"uom", p.uom}, {"later", side(p.later)}, {"earlier", p.earlier}, {"median", p.median}, {"spread", p.spread},
                      {"low", p.low}, {"high", p.high}, {"is_tolerance_interval", p.is_tolerance_interval}, {"expanded_uncertainty", p.expanded_uncertainty}, {"coverage_factor", 2},
                      {"standing", to_word(p.standing)}, {"conditions", p.conditions}, {"sentence", p.sentence}});
  return {{"later", label(made.later)}, {"earlier", std::move(earlier)}, {"sentences", made.sentences}, {"remarks", made.remarks}, {"points", std::move(points)}};
}

}  // namespace steadyglow::record
