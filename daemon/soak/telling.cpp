/// How a departure is told: one sentence with what a person needs to believe it or to disprove it.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/trend.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using analysis::Scale;
using profile::Role;

constexpr Duration level_window = std::chrono::minutes{5};
constexpr Duration trend_window = std::chrono::hours{6};
/// A limit further ahead than this is not worth a figure.
constexpr double hours_ahead_max = 400.0;

Kind kind_of(const profile::Point& point, const Case& told) {
  if (point.is_temperature()) return Kind::rise;
  if (point.role == Role::speed) return Kind::speed;
  if (told.is_undecided) return Kind::imbalance;
  if (told.state.is_abrupt) return Kind::step;
  return Kind::drift;
}

std::string hours_text(double hours) { return hours < 2.0 ? fmt::format("{:.0f} min", 60.0 * hours) : fmt::format("{:.1f} h", hours); }

std::string range_text(const analysis::HoursRange& hours) {
  if (!hours.most) return fmt::format("in {} or later", hours_text(hours.least));
  return fmt::format("in about {} ({} to {})", hours_text(hours.likely), hours_text(hours.least), hours_text(*hours.most));
}

/// The figure that the surroundings would have, from the one that is there.
double expected_from(double now, double moved, const analysis::Traits& traits) {
  switch (traits.scale) {
    case Scale::kelvin: return now - moved;
    case Scale::of_limit: return now - moved * traits.unit;
    case Scale::logarithm: break;
  }
  return now * std::exp(-moved);
}

std::string amount_text(double moved, const profile::Point& point, const analysis::Traits& traits) {
  switch (traits.scale) {
    case Scale::kelvin: return fmt::format("{:+.1f} K", moved);
    case Scale::of_limit: return fmt::format("{}{}", moved > 0.0 ? "+" : "", figure(point, moved * traits.unit));
    case Scale::logarithm: break;
  }
  return fmt::format("{:+.1f} %", 100.0 * std::expm1(moved));
}

std::string verb_of(Kind kind, double moved) {
  switch (kind) {
    case Kind::rise: return moved > 0.0 ? "grows hotter" : "grows cooler";
    case Kind::step: return "jumped";
    case Kind::imbalance: return "parts from its matched point";
    case Kind::speed: return "changes speed";
    default: return "drifts";
  }
}

}  // namespace

void Engine::learn_trend_of(PointWatch& watch) {
  std::vector<std::int64_t> minutes;
  std::vector<double> hours;
  std::vector<double> values;
  watch.columns(trend_window, minutes, hours, values);
  const auto level = watch.recent_level(level_window);
  const double moved = level ? *level - watch.baseline()->level : 0.0;
  watch.trend = analysis::judge_trend(hours, values, moved);
}

std::string Engine::ahead_text(const PointWatch& watch, double per_hour, Finding& finding) const {
  const profile::Point& point = watch.point();
  const double raw = *watch.last_good();
  const auto ahead = analysis::limit_ahead(point, raw, per_hour);
  if (!ahead) return {};
  finding.limit = ahead->limit;
  if (!watch.trend || !watch.trend->is_significant || (watch.trend->fit.slope > 0.0) != (per_hour > 0.0)) return {};
  const auto hours = analysis::hours_to_limit(raw, ahead->limit, watch.trend->fit);
  if (!hours || hours->likely > hours_ahead_max) return {};
  return fmt::format("; {} limit {} {}", ahead->is_trip ? "trip" : "warning", figure(point, ahead->limit), range_text(*hours));
}

std::string Engine::company_text(const Case& told) const {
  const profile::Point& point = profile_.point(told.named);
  const auto names = [&](const std::vector<PointId>& ids) {
    constexpr std::size_t names_max = 4;
    std::string text;
    for (std::size_t i = 0; i < std::min(ids.size(), names_max); ++i) text += (i > 0 ? ", " : "") + profile_.point(ids[i]).name;
    if (ids.size() > names_max) text += fmt::format(" and {} more", ids.size() - names_max);
    return text;
  };
  if (told.is_consequence) return fmt::format("; it follows {}", names({told.with.front()}));
  if (told.is_undecided) return fmt::format("; which of the two moved cannot be told ({})", names(told.with));
  if (told.is_common) return fmt::format("; {} moved with it while the mains explain nothing: look at what they share", names(told.with));
  if (!told.with.empty()) return fmt::format("; {} followed it", names(told.with));
  std::string text = point.matched_with.empty() ? "; nothing else moved with it" : "; its matched points stand still";
  if (point.is_temperature() && watts_point_) {
    const analysis::Stream& watts = departures_.own(*watts_point_);
    if (!watts.state().is_departed && told.state.moved > 0.0) text += "; the watts do not explain it: air path or mounting";
  }
  return text;
}

void Engine::tell(const Case& told, Timestamp now) {
  const PointWatch& watch = points_[told.named.index];
  const profile::Point& point = watch.point();
  if (!watch.last_good()) return;
  const analysis::Traits& traits = departures_.own(told.named).traits();
  const Kind kind = kind_of(point, told);
  if (book_.covers(Kind::runaway, told.named) && kind == Kind::drift) return;
  const double raw = watch.recent_raw_level(level_window).value_or(*watch.last_good());
  Finding finding{kind, told.is_consequence ? Severity::note : Severity::warn, true, now, {told.named}, raw, std::nullopt, point.uom.symbol, Aspect::reading, {}};
  finding.points.insert(finding.points.end(), told.with.begin(), told.with.end());
  const double hours = std::max(told.state.is_quick ? told.state.quick_minutes / 60.0 : hours_of(now - at_ms(told.state.since_minute * 60000)), 1.0 / 60.0);
  const std::string against = told.is_difference ? "beside its matched points" : "at these mains and in this room";
  std::string text = fmt::format("{} {}: {} where {} is expected {} ({} in {})", point.name, verb_of(kind, told.state.moved), figure(point, raw),
                                 figure(point, expected_from(raw, told.state.moved, traits)), against, amount_text(told.state.moved, point, traits), hours_text(hours));
  text += ahead_text(watch, told.state.moved, finding);
  text += company_text(told);
  text += fmt::format("; {}; disproved if {}", surroundings_text(),
                      point.is_temperature() ? "the probe has shifted" : told.with.empty() ? "a second meter on this clip stands still" : "a second meter shows none of them moved");
  finding.message = std::move(text);
  book_.raise(std::move(finding));
}

void Engine::end_departures(Timestamp now) {
  struct Ended {
    Kind kind;
    PointId point;
  };
  std::vector<Ended> ended;
  for (const Finding* finding : book_.standing()) {
    const bool is_departure = finding->kind == Kind::drift || finding->kind == Kind::rise || finding->kind == Kind::speed || finding->kind == Kind::imbalance ||
                              (finding->kind == Kind::step && !draws_no_power_);
    if (!is_departure || finding->aspect != Aspect::reading || finding->points.empty()) continue;
    const bool is_over = std::all_of(finding->points.begin(), finding->points.end(), [&](PointId id) { return departures_.is_calm(id); });
    if (is_over) ended.push_back({finding->kind, finding->points.front()});
  }
  for (const Ended& one : ended) {
    const PointWatch& watch = points_[one.point.index];
    book_.clear(one.kind, one.point, now, fmt::format("{} is back where mains and room would have it: {}", watch.point().name, figure(watch.point(), *watch.last_good())));
  }
}

}  // namespace steadyglow::soak
