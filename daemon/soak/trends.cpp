/// What the engine judges once a minute: where points are going, and with whom.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/runaway.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;

constexpr Duration level_window = std::chrono::minutes{15};
constexpr Duration trend_window = std::chrono::hours{6};
constexpr int raise_after_minutes = 10;
constexpr int clear_after_minutes = 30;
/// Below this many hours to a limit a drift is worth a look before the next evening.
constexpr double near_limit_hours = 24.0;
/// A sibling that makes at least this share of a point's movement moves with it.
constexpr double together_share = 0.6;
/// Siblings that make less than this share of it (either way) stand still beside it.
constexpr double stands_still_share = 0.5;
constexpr double runaway_trip_minutes = 2.0;
constexpr double spreads_of_margin = 6.0;
constexpr double imbalance_limit = 0.10;
constexpr double imbalance_clear = 0.08;
/// What a fresh baseline may still settle, as a share of the margin, and how fast that passes: parts that warm up for hours.
double tail_share(const profile::Point& point) {
  return point.is_temperature() || point.role == Role::bias || point.role == Role::offset ? 1.5 : 0.5;
}
constexpr double tail_minutes = 90.0;

/// What a point may move before it is said, at least: relative to its level, or in its uom. Common practice, no source:
/// a third to a half of what the trade warns at.
double margin_of(const profile::Point& point) {
  if (point.is_temperature()) return 4.0;
  switch (point.role) {
    case Role::bias: return 0.04;
    case Role::grid_bias: return 0.025;
    case Role::supply: return 0.025;
    case Role::heater: return 0.025;
    case Role::level: return 0.03;
    case Role::speed: return 0.002;
    case Role::offset: {
      double nearest = 50.0 / (point.uom.to_base * 1000.0);  // 50 mV, the trade's warning for an output
      if (point.warn.high) nearest = std::fabs(*point.warn.high);
      if (point.warn.low) nearest = std::min(nearest, std::fabs(*point.warn.low));
      return 0.3 * nearest;
    }
    default: return 0.05;
  }
}

std::string range_text(const analysis::HoursRange& hours) {
  const auto one = [](double h) { return h < 2.0 ? fmt::format("{:.0f} min", 60.0 * h) : fmt::format("{:.0f} h", h); };
  if (!hours.most) return fmt::format("in {} or later", one(hours.least));
  return fmt::format("in about {} ({} to {})", one(hours.likely), one(hours.least), one(*hours.most));
}

}  // namespace

bool Engine::is_judged_for_trend(const PointWatch& watch) const {
  const profile::Point& point = watch.point();
  if (point.role == Role::ambient || point.role == Role::mains_voltage || point.role == Role::mains_current) return false;
  if (point.quantity == Quantity::state || point.quantity == Quantity::energy) return false;
  // Programme moves currents, rails and watts; what it moves is not judged for drift here.
  if (profile_.drive == profile::Drive::programme) return point.is_temperature() || point.role == Role::heater || point.role == Role::speed;
  return true;
}

void Engine::judge_trends(Timestamp now) {
  for (PointWatch& watch : points_) {
    if (power_ != Power::on) return;
    if (!is_judged_for_trend(watch) || watch.series().empty()) continue;
    judge_settling_of(watch);
    if (stages_.phase() != Phase::judging || !watch.baseline()) continue;
    judge_drift(watch, now);
    judge_runaway(watch, now);
  }
  if (power_ == Power::on && stages_.phase() == Phase::judging) judge_groups(now);
}

void Engine::judge_settling_of(PointWatch& watch) {
  if (stages_.phase() != Phase::warming && watch.settling.state == analysis::SettlingState::settled) return;
  std::vector<std::int64_t> minutes;
  std::vector<double> hours;
  std::vector<double> values;
  watch.columns(std::chrono::minutes{30}, minutes, hours, values);
  if (values.empty()) return;
  const profile::Point& point = watch.point();
  // 1 % of the level in half an hour, and within 2 % of where the curve ends (trade habit); temperatures on a 100 K
  // scale, offsets on that of their limit.
  double scale = point.is_temperature() ? 100.0 : std::fabs(values.back());
  if (!watch.expectation().is_relative && !point.is_temperature()) scale = margin_of(point) / 0.05;
  watch.settling_tolerance = {0.01 * scale, 0.02 * scale};
  watch.settling = analysis::judge_settling(minutes, values, watch.settling_tolerance);
  if (watch.settling.state == analysis::SettlingState::settled && book_.covers(Kind::settling, watch.id()))
    book_.clear(Kind::settling, watch.id(), now_, fmt::format("{} has settled", point.name));
}

void Engine::judge_drift(PointWatch& watch, Timestamp now) {
  const profile::Point& point = watch.point();
  const auto level = watch.recent_level(level_window);
  const auto raw = watch.recent_raw_level(level_window);
  if (!level || !raw) return;
  const Baseline baseline = *watch.baseline();
  const analysis::Expectation& expectation = watch.expectation();
  const double scale = expectation.is_relative ? std::fabs(baseline.level) : 1.0;
  if (!(scale > 0.0)) return;

  std::vector<std::int64_t> minutes;
  std::vector<double> hours;
  std::vector<double> values;
  watch.columns(trend_window, minutes, hours, values);
  const double age = minutes_of(now - baseline.at);
  const double moved = *level - baseline.expected(age);
  watch.trend = analysis::judge_trend(hours, values, moved);

  const double own_margin = point.is_temperature() ? std::max(margin_of(point), 0.15 * std::fabs(baseline.level)) : margin_of(point);
  const double room_allowance = expectation.per_kelvin / (expectation.is_relative ? 1.0 : point.uom.to_base * 1000.0) *
                                std::fabs(watch.series().back().room - baseline.room);
  const double tail = baseline.segment == 0 || age < 4.0 * tail_minutes ? tail_share(point) * own_margin * std::exp(-age / tail_minutes) : 0.0;
  // What the mains have moved since, times what is not known of how the point follows them.
  const double follows = point.is_temperature() ? std::fabs(baseline.level) : expectation.is_relative ? scale : 0.0;
  const double mains_doubt = watch.mains_exponent_sd() * std::fabs(watch.series().back().ln_mains - baseline.ln_mains) * follows;
  const double margin = scale * (own_margin + room_allowance + tail) + spreads_of_margin * baseline.spread + mains_doubt;

  const bool leads_on = watch.trend && watch.trend->is_significant && (watch.trend->fit.slope > 0.0) == (moved > 0.0);
  // Matched points share mains and room: against them the room needs no allowance. Named is who moved clearly more.
  const auto share = siblings_share(watch, points_, moved);
  const double alone = share ? std::fabs(moved) * (1.0 - *share) : 0.0;
  const bool is_moved_alone = share && std::fabs(*share) < stands_still_share && leads_on &&
                              alone > scale * (own_margin + tail) + spreads_of_margin * baseline.spread;
  const bool is_moved = std::fabs(moved) > 1.6 * margin || (std::fabs(moved) > margin && leads_on) || is_moved_alone;
  const bool is_calm = std::fabs(moved) < 0.5 * margin;
  watch.minutes_moved = is_moved ? watch.minutes_moved + 1 : 0;
  watch.minutes_calm = is_calm ? watch.minutes_calm + 1 : 0;

  const Kind kind = point.is_temperature() ? Kind::rise : point.role == Role::speed ? Kind::speed : Kind::drift;
  if (watch.minutes_calm >= clear_after_minutes)
    return book_.clear(kind, watch.id(), now, fmt::format("{} is back at {}", point.name, figure(point, *raw)));
  if (watch.minutes_moved < raise_after_minutes) return;
  if (book_.covers(kind, watch.id()) && !book_.stands(kind, watch.id())) return;  // told with its siblings
  if (book_.covers(Kind::runaway, watch.id())) return;

  Finding finding{kind, Severity::note, true, now, {watch.id()}, *raw, std::nullopt, point.uom.symbol, Aspect::reading, {}};
  std::string ahead_text;
  const double slope = watch.trend ? watch.trend->fit.slope : 0.0;
  if (const auto ahead = leads_on ? analysis::limit_ahead(point, *raw, slope) : std::nullopt) {
    finding.limit = ahead->limit;
    // Temperatures are judged as a rise; on the way to an absolute limit the room's own course is left out.
    if (const auto to_limit = analysis::hours_to_limit(*raw, ahead->limit, watch.trend->fit)) {
      ahead_text = fmt::format("; {} limit {} {}", ahead->is_trip ? "trip" : "warning", figure(point, ahead->limit), range_text(*to_limit));
      if (to_limit->likely < near_limit_hours) finding.severity = Severity::warn;
    }
  }
  if (std::fabs(moved) > 2.0 * margin) finding.severity = Severity::warn;

  std::string company = "; ";
  if (share && *share > together_share) {
    for (const PointId id : point.matched_with) finding.points.push_back(id);
    company += "its matched points move with it";
    if (grid_bias_point_ && points_[grid_bias_point_->index].minutes_moved > 0) company += fmt::format(", and so does {}: bias supply, not a tube", profile_.point(*grid_bias_point_).name);
  } else if (share && std::fabs(*share) < stands_still_share) {
    company += "its matched points stand still";
  } else if (share) {
    company += fmt::format("its matched points moved {:+.0f} % of that", 100.0 * *share);
  } else {
    company += "it has no matched point";
  }
  if (kind == Kind::rise && watts_point_) {
    const PointWatch& watts = points_[watts_point_->index];
    const auto watts_now = watts.recent_level(level_window);
    if (watts_now && watts.baseline() && moved > 0.0) {
      const double change = *watts_now / watts.baseline()->level - 1.0;
      company += change > 0.05 ? fmt::format("; the watts rose {:.0f} % with it", 100.0 * change) : "; the watts are flat: air path or mounting";
    }
  }
  const std::string size = expectation.is_relative ? fmt::format(" ({:+.1f} %)", 100.0 * moved / scale) : "";
  const std::string what = point.is_temperature() ? fmt::format("{} stands {:.1f} K over the room, {:.1f} K at the baseline", point.name, *level, baseline.level)
                                                  : fmt::format("{} drifts: {} at the baseline, {} now{}", point.name, figure(point, baseline.raw_level), figure(point, *raw), size);
  finding.message = fmt::format("{} in {:.1f} h{}{}; {}", what, age / 60.0, ahead_text, company, surroundings_text());
  book_.raise(std::move(finding));
}

void Engine::judge_runaway(PointWatch& watch, Timestamp now) {
  const profile::Point& point = watch.point();
  const bool can_run_away = point.role == Role::bias || point.role == Role::supply_current || point.role == Role::heatsink ||
                            point.role == Role::transformer || point.role == Role::mains_power || point.role == Role::motor;
  if (!can_run_away) return;
  const std::vector<double> tail = watch.unbroken_tail(analysis::runaway_minutes);
  const Baseline baseline = *watch.baseline();
  const double scale = point.is_temperature() ? 100.0 : std::fabs(baseline.level);
  const analysis::RunawayPolicy policy{0.04 * scale + 3.0 * baseline.spread, 0.012 * scale + 2.0 * baseline.spread};
  const auto runaway = analysis::judge_runaway(tail, policy);
  if (!runaway) {
    // It has to stay quiet for as long as the slowest window looks back before it is called over.
    if (!book_.stands(Kind::runaway, watch.id())) return;
    const auto level = watch.recent_level(level_window);
    if (level && std::fabs(*level - baseline.level) < policy.moved_min)
      book_.clear(Kind::runaway, watch.id(), now, fmt::format("{} is back at {}", point.name, figure(point, *watch.last_good())));
    return;
  }
  Finding finding{Kind::runaway, Severity::warn, true, now, {watch.id()}, watch.last_good(), std::nullopt, point.uom.symbol, Aspect::reading, {}};
  std::string limit_text;
  const double raw_now = *watch.last_good();
  const auto high = point.trip.high ? point.trip.high : point.warn.high;
  std::optional<double> minutes;
  if (high) {
    // The projection runs in compensated figures; the limit is moved by the same amount.
    minutes = runaway->minutes_to(*high - raw_now + runaway->now);
    finding.limit = high;
    if (minutes) limit_text = fmt::format("; {} limit {} in about {:.0f} min", point.trip.high ? "trip" : "warning", figure(point, *high), *minutes);
  }
  const bool is_close = point.trip.high && minutes && *minutes < runaway_trip_minutes && watch.is_beyond_warn();
  if (is_close) finding.severity = Severity::trip;
  std::string company;
  std::size_t with = 0;
  for (const PointId id : point.matched_with) {
    const std::vector<double> other = points_[id.index].unbroken_tail(analysis::runaway_minutes);
    const std::size_t back = static_cast<std::size_t>(3.0 * runaway->window_minutes);
    if (other.size() <= back) continue;
    const double other_moved = other.back() - other[other.size() - 1 - back];
    if (other_moved < together_share * (runaway->now - runaway->from)) continue;
    finding.points.push_back(id);
    ++with;
  }
  if (!point.matched_with.empty()) company = with == 0 ? "; its matched points stand still" : fmt::format("; {} matched points go with it", with);
  finding.message = fmt::format("{} runs away: {} to {} in {:.0f} min, doubling its excess every {:.1f} min{}{}; {}", point.name,
                                figure(point, raw_now - (runaway->now - runaway->from)), figure(point, raw_now), 3.0 * runaway->window_minutes,
                                runaway->doubling_minutes, limit_text, company, surroundings_text());
  const std::string reason = finding.message;
  if (book_.covers(Kind::runaway, watch.id()) && !book_.stands(Kind::runaway, watch.id()) && !is_close) return;
  book_.raise(std::move(finding));
  if (is_close) open_outlet(now, Power::tripped, reason);
}

void Engine::judge_groups(Timestamp now) {
  if (profile_.drive == profile::Drive::programme) return;
  for (MatchedGroup& group : groups_) {
    const auto worst = worst_imbalance(group, points_);
    if (!worst || !worst->at_start) continue;
    const double change = std::fabs(worst->now - *worst->at_start);
    group.minutes_out = change > imbalance_limit ? group.minutes_out + 1 : 0;
    group.minutes_in = change < imbalance_clear ? group.minutes_in + 1 : 0;
    if (group.named && group.minutes_in >= clear_after_minutes) {
      book_.clear(Kind::imbalance, *group.named, now, "the matched points are together again");
      group.named.reset();
    }
    const profile::Point& point = profile_.point(worst->point);
    if (point.is_temperature() || point.role == Role::offset) continue;
    const bool is_told = book_.covers(Kind::drift, worst->point) || book_.covers(Kind::runaway, worst->point) || book_.covers(Kind::limit, worst->point);
    if (group.named || is_told || group.minutes_out < raise_after_minutes) continue;
    group.named = worst->point;
    Finding finding{Kind::imbalance, Severity::warn, true, now, {worst->point}, worst->value, std::nullopt, point.uom.symbol, Aspect::reading,
                    fmt::format("{} stands {:+.1f} % from its matched points, {:+.1f} % at the baseline; {}", point.name, 100.0 * worst->now,
                                100.0 * *worst->at_start, surroundings_text())};
    book_.raise(std::move(finding));
  }
}

}  // namespace steadyglow::soak
