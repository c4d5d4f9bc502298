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

/// A heavy part cannot lose a quarter of its rise in a dozen minutes while the unit goes on: the probe has let go.
bool is_probe_off(const profile::Point& point, const analysis::Stream& stream, const Case& told) {
  constexpr double share_of_rise = 0.25;
  constexpr double kelvin_least = 5.0;
  constexpr double minutes_most = 12.0;
  if (!point.is_temperature() || !told.state.is_quick || told.state.quick_minutes > minutes_most) return false;
  return told.state.moved < -std::max(kelvin_least, share_of_rise * (stream.rise() - told.state.moved));
}

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
    case Scale::linear: return now - moved * traits.unit;
    case Scale::logarithm: break;
  }
  return now * std::exp(-moved);
}

std::string amount_text(double moved, const profile::Point& point, const analysis::Traits& traits) {
  switch (traits.scale) {
    case Scale::kelvin: return fmt::format("{:+.1f} K", moved);
    case Scale::linear: return fmt::format("{}{}", moved > 0.0 ? "+" : "", figure(point, moved * traits.unit));
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

std::string Engine::ahead_text(const PointWatch& watch, double direction, Finding& finding) const {
  const profile::Point& point = watch.point();
  const double raw = *watch.last_good();
  const auto ahead = analysis::limit_ahead(point, raw, direction);
  if (!ahead) return {};
  finding.limit = ahead->limit;
  if (!watch.trend || !watch.trend->is_significant || (watch.trend->fit.slope > 0.0) != (direction > 0.0)) return {};
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
  std::string text = !told.with.empty() && told.is_common ? fmt::format("; {} moved with it while the mains explain nothing: look at what they share", names(told.with))
                     : !told.with.empty()                 ? fmt::format("; {} followed it", names(told.with))
                     : point.matched_with.empty()         ? "; nothing else moved with it"
                                                          : "; its matched points stand still";
  if (!point.is_temperature() || !watts_point_ || told.state.moved <= 0.0) return text;
  const std::string heat = heat_text(points_[told.named.index]);
  if (!heat.empty()) return text + heat;
  return departures_.own(*watts_point_).state().is_departed ? text : text + "; the watts do not explain it: air path or mounting";
}

/// Two jumped in the same minute and each stands where the other stood: the leads have changed places.
bool Engine::is_exchanged(const Case& told, PointId& other) const {
  constexpr double same_share = 0.05;
  if (!told.state.is_abrupt || told.is_difference) return false;
  const auto is_near = [&](double a, double b) { return std::fabs(a - b) < same_share * std::max(std::fabs(a), std::fabs(b)); };
  const auto now_and_before = [&](PointId id) {
    const double now = points_[id.index].recent_raw_level(std::chrono::minutes{2}).value_or(0.0);
    return std::pair(now, expected_from(now, departures_.own(id).state().moved, departures_.own(id).traits()));
  };
  constexpr double other_share = 0.15;
  const auto mine = now_and_before(told.named);
  if (std::fabs(mine.first - mine.second) < other_share * std::max(std::fabs(mine.first), std::fabs(mine.second))) return false;
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const PointId id{static_cast<std::uint16_t>(i)};
    const analysis::Stream::State& state = departures_.own(id).state();
    if (id == told.named || !state.is_departed || !state.is_abrupt || points_[i].point().uom.symbol != profile_.point(told.named).uom.symbol) continue;
    const auto its = now_and_before(id);
    if (!is_near(mine.first, its.second) || !is_near(its.first, mine.second)) continue;
    other = id;
    return true;
  }
  return false;
}

void Engine::tell(const Case& told, Timestamp now) {
  const PointWatch& watch = points_[told.named.index];
  const profile::Point& point = watch.point();
  if (!watch.last_good()) return;
  if (PointId other{}; is_exchanged(told, other)) {
    if (!book_.covers(Kind::sensor, other))
      book_.raise({Kind::sensor, Severity::warn, true, now, {told.named, other}, watch.last_good(), std::nullopt, point.uom.symbol, Aspect::meter,
                   fmt::format("{} and {} jumped in the same minute, each to where the other stood: their leads have changed places; {}", point.name, profile_.point(other).name, surroundings_text())});
    return;
  }
  if (is_probe_off(point, departures_.own(told.named), told)) {
    book_.raise({Kind::sensor, Severity::warn, true, now, {told.named}, watch.last_good(), std::nullopt, point.uom.symbol, Aspect::meter,
                 fmt::format("{} fell by {:.0f} K in {:.0f} min while the unit went on as before: faster than the part can cool, so its probe has let go; {}", point.name, -told.state.moved,
                             told.state.quick_minutes, surroundings_text())});
    return;
  }
  const analysis::Traits& traits = departures_.own(told.named).traits();
  const Kind kind = kind_of(point, told);
  if (book_.covers(Kind::runaway, told.named) && kind == Kind::drift) return;
  const double raw = watch.recent_raw_level(level_window).value_or(*watch.last_good());
  // What follows from something told, or adds to a limit that stands, is for the morning sheet.
  const bool is_known = told.is_consequence || book_.covers(Kind::limit, told.named);
  Finding finding{kind, is_known ? Severity::note : Severity::warn, true, now, {told.named}, raw, std::nullopt, point.uom.symbol, Aspect::reading, {}};
  finding.points.insert(finding.points.end(), told.with.begin(), told.with.end());
  const double hours = std::max(told.state.is_quick ? told.state.quick_minutes / 60.0 : hours_of(now - at_ms(told.state.since_minute * 60000)), 1.0 / 60.0);
  const std::string against = told.is_difference           ? "beside its matched points"
                              : mains_point_ && ambient_point_ ? "at these mains and in this room"
                              : mains_point_                   ? "at these mains"
                              : ambient_point_                 ? "in this room"
                                                               : "by its own course";
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
    Aspect aspect;
  };
  std::vector<Ended> ended;
  for (const Finding* finding : book_.standing()) {
    if (finding->points.empty()) continue;
    const PointWatch& first = points_[finding->points.front().index];
    const bool is_calm = std::all_of(finding->points.begin(), finding->points.end(), [&](PointId id) { return departures_.is_calm(id); });
    bool is_over = false;
    switch (finding->kind) {
      case Kind::drift:
      case Kind::rise:
      case Kind::speed:
      case Kind::imbalance: is_over = is_calm; break;
      case Kind::step: is_over = finding->aspect == Aspect::meter ? !first.is_below_floor() : is_calm && !draws_no_power_; break;
      case Kind::intermittent: is_over = first.has_calm_contact(now) && first.times_rougher() < analysis::Roughness::times_rougher / 2.0; break;
      case Kind::sensor: is_over = finding->aspect == Aspect::meter && is_calm && first.has_sane_meter(); break;
      default: break;
    }
    if (is_over) ended.push_back({finding->kind, first.id(), finding->aspect});
  }
  for (const Ended& one : ended) {
    const PointWatch& watch = points_[one.point.index];
    const bool is_course = one.aspect == Aspect::reading;
    book_.clear(one.kind, one.point, now, fmt::format("{} {}: {}", watch.point().name, is_course ? "is back on its course" : "reads soundly again", figure(watch.point(), *watch.last_good())),
                one.aspect);
  }
}

}  // namespace steadyglow::soak
