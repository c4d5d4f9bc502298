#include "soak/point_watch.hpp"

#include <algorithm>
#include <cmath>

#include "analysis/uncertainty.hpp"

namespace steadyglow::soak {
namespace {

using analysis::ContactVerdict;
using profile::Role;

/// Off-delay of a limit: long enough that a figure that hovers does not chatter.
constexpr Duration trip_off_delay = std::chrono::seconds{60};
constexpr Duration warn_off_delay = std::chrono::minutes{5};
constexpr Duration warn_off_delay_heavy = std::chrono::minutes{15};
/// A fifth of the way from nominal to the limit (trade habit 20 to 25 %), or 2 % of the limit without a nominal.
constexpr double deadband_of_distance = 0.20;
constexpr double deadband_of_limit = 0.02;
constexpr Duration programme_warn_delay = std::chrono::minutes{15};
constexpr Duration programme_supply_delay = std::chrono::minutes{5};
constexpr Duration programme_trip_delay = std::chrono::minutes{1};
/// A unit counts as up, for the limits that a cold one is beyond, after standing inside them this long.
constexpr Duration up_after = std::chrono::seconds{10};

bool falls_to_zero_when_a_clip_falls(Role role) {
  return role == Role::bias || role == Role::grid_bias || role == Role::supply || role == Role::heater ||
         role == Role::supply_current || role == Role::other;
}

}  // namespace

PointWatch::PointWatch(const profile::Point& point, PointId id, profile::Drive drive)
    : point_(&point),
      id_(id),
      expectation_(analysis::expect(point.role, point.quantity)),
      exponent_(expectation_),
      mains_lag_(expectation_.lag_minutes),
      room_lag_(expectation_.lag_minutes),
      traits_(analysis::traits_of(point, drive, false)),
      is_programme_(drive == profile::Drive::programme && !point.is_temperature() && point.role != Role::heater && point.role != Role::speed && point.role != Role::offset &&
                    point.role != Role::mains_voltage),
      plausible_(point),
      has_contact_watch_(falls_to_zero_when_a_clip_falls(point.role) && !point.is_temperature()) {
  add_limit(point.warn.low, false, false);
  add_limit(point.warn.high, true, false);
  add_limit(point.trip.low, false, true);
  add_limit(point.trip.high, true, true);
}

void PointWatch::add_limit(std::optional<double> limit, bool is_high, bool is_trip) {
  if (!limit) return;
  analysis::LimitPolicy policy;
  policy.limit = *limit;
  policy.is_high = is_high;
  policy.deadband = point_->nominal ? deadband_of_distance * std::fabs(*limit - *point_->nominal) : deadband_of_limit * std::fabs(*limit);
  policy.on_delay = is_trip ? point_->trip_dwell : point_->warn_dwell;
  // Programme lifts currents and watts and pulls rails down for as long as a loud passage lasts: there a limit means
  // every reading of that long, pauses between the notes included.
  const bool is_music_side = is_high == (point_->role != Role::supply && point_->role != Role::grid_bias);
  if (is_programme_ && is_music_side) policy.on_delay = std::max(policy.on_delay, is_trip ? programme_trip_delay : point_->role == Role::supply ? programme_supply_delay : programme_warn_delay);
  policy.off_delay = is_trip ? trip_off_delay : point_->is_temperature() ? warn_off_delay_heavy : warn_off_delay;
  const bool is_cold_beyond = is_high ? 0.0 > *limit : 0.0 < *limit;
  limits_.push_back({analysis::LimitWatch(policy), is_trip, is_cold_beyond});
}

PointWatch::Taken PointWatch::take(const Reading& reading, std::optional<double> watts, Timestamp watts_at, const Moment& moment) {
  Taken taken;
  latest_ = reading;
  if (!reading.is_good()) return taken;
  watts_ = watts;
  judge_meter(reading, moment, taken);
  if (moment.is_standing && !contact_.is_lost()) contact_.clear();
  else if (has_contact_watch_) {
    const bool was_lost = contact_.is_lost();
    taken.contact = contact_.step(reading.at(), reading.value(), watts, watts_at, moment.has_company);
    taken.contact_changed = was_lost != contact_.is_lost();
    if (contact_.is_lost()) latest_ = reading.with_quality(Quality::contact_lost);
    const bool may_use = taken.contact == ContactVerdict::fine || taken.contact == ContactVerdict::real;
    if (!may_use) return taken;
  }
  if (last_good_) {
    const double step = std::fabs(reading.value() - *last_good_);
    if (step > 1e-9 * std::fabs(*last_good_) && (digit_ == 0.0 || step < digit_)) digit_ = step;
  }
  last_good_at_ = reading.at();
  last_good_ = reading.value();
  step_limits(reading.at(), reading.value(), moment.is_disturbed, taken.limits);
  if (!moment.is_telling) return taken;
  if (!moment.is_doubtful) minute_.add(reading.at(), reading.value());
  else if (doubtful_.size() < analysis::MinuteCollector::samples_max) doubtful_.push_back(reading.value());
  return taken;
}

void PointWatch::believe_doubtful(Timestamp at) {
  for (const double value : doubtful_) minute_.add(at, value);
  doubtful_.clear();
}

std::optional<double> PointWatch::newest_change() const {
  if (!closed_ || !last_good_) return std::nullopt;
  if (traits_.scale == analysis::Scale::linear) return (*last_good_ - closed_->median) / traits_.unit;
  if (closed_->median == 0.0) return std::nullopt;
  return *last_good_ / closed_->median - 1.0;
}

/// What a reading must be off, at least, to be called wild, in uom.
double PointWatch::wild_least() const {
  constexpr double wild_kelvin = 6.0;
  constexpr double wild_of_limit = 0.5;
  constexpr double wild_share = 0.2;
  constexpr double wild_speed = 0.03;
  switch (traits_.scale) {
    case analysis::Scale::kelvin: return wild_kelvin;
    case analysis::Scale::linear: return (point_->role == Role::offset ? wild_of_limit : wild_share) * traits_.unit;
    case analysis::Scale::logarithm: break;
  }
  return (point_->role == Role::speed ? wild_speed : wild_share) * std::fabs(closed_->median);
}

void PointWatch::judge_meter(const Reading& reading, const Moment& moment, Taken& taken) {
  constexpr int reversed_readings = 3;
  constexpr double below_floor_share = 0.7;
  constexpr Duration below_floor_after = std::chrono::minutes{3};
  constexpr double reversed_share = 0.2;
  const double value = reading.value();
  // Between the records a coarse meter may stand for long.
  is_stuck_ = point_->quantity != Quantity::state && !is_programme_ && stuck_.step(reading.at(), value);
  taken.is_stuck = is_stuck_;
  if (!closed_) return;
  const double level = closed_->median;
  const double least = wild_least();
  if (point_->role == Role::mains_voltage || point_->role == Role::ambient) {
    taken.is_rough = roughness_.step(value, 3.0 * digit_ / analysis::Roughness::times_rougher);
    return;
  }
  if (moment.is_restless || contact_.is_lost()) return;
  if (is_programme_) {
    // Music only adds to an idle current: what falls well below the floor is no music.
    if (!moment.quiet_floor || point_->role != Role::bias) return;
    const double floor = std::copysign(*moment.quiet_floor, level);
    const double seen = std::fabs(value) < *moment.quiet_floor ? value : floor;
    const double least_below = below_floor_share * *moment.quiet_floor;
    if (std::fabs(seen - floor) > least_below) last_wild_at_ = reading.at();
    taken.bursts = bursts_.step(reading.at(), seen, floor, 0.0, least_below);
    if (std::fabs(seen - floor) <= least_below) below_floor_since_.reset();
    else if (!below_floor_since_) below_floor_since_ = reading.at();
    taken.is_below_floor = below_floor_since_ && reading.at() - *below_floor_since_ >= below_floor_after;
    return;
  }
  // What is left of a figure that has gone is noise, and noise jumps.
  constexpr double gone_share = 0.1;
  if (is_baseline_current_ && traits_.scale == analysis::Scale::logarithm && std::fabs(level) < gone_share * std::fabs(baselines_.back().raw_level)) return;
  if (std::fabs(value - level) > std::max(analysis::Bursts::spreads_wild * closed_->spread, least)) last_wild_at_ = reading.at();
  taken.bursts = bursts_.step(reading.at(), value, level, closed_->spread, least);
  const double no_steps = std::max({3.0 * digit_, 0.05 * least});
  taken.is_rough = roughness_.step(value, no_steps / analysis::Roughness::times_rougher);
  const bool is_reversed = traits_.scale == analysis::Scale::logarithm && value * level < 0.0 && std::fabs(level) > 20.0 * digit_ && std::fabs(std::fabs(value) - std::fabs(level)) < reversed_share * std::fabs(level);
  reversed_ = is_reversed ? reversed_ + 1 : 0;
  taken.is_reversed = reversed_ >= reversed_readings;
}

void PointWatch::step_limits(Timestamp at, double value, bool is_disturbed, std::vector<LimitChange>& changes) {
  if (!are_cold_limits_armed_) {
    const bool is_inside = std::all_of(limits_.begin(), limits_.end(), [&](const Limit& limit) {
      const auto& policy = limit.watch.policy();
      return !limit.is_cold_side || (policy.is_high ? value < policy.limit : value > policy.limit);
    });
    if (!is_inside) inside_since_.reset();
    else if (!inside_since_) inside_since_ = at;
    else if (at - *inside_since_ >= up_after) are_cold_limits_armed_ = true;
  }
  for (Limit& limit : limits_) {
    if (limit.is_cold_side && (!are_cold_limits_armed_ || is_disturbed)) continue;
    const auto change = limit.watch.step(at, value);
    if (!change) continue;
    const auto& policy = limit.watch.policy();
    changes.push_back({limit.is_trip, policy.is_high, *change, policy.limit, policy.on_delay});
  }
}

bool PointWatch::is_beyond_warn() const {
  return std::any_of(limits_.begin(), limits_.end(), [](const Limit& l) { return !l.is_trip && l.watch.is_beyond(); });
}

void PointWatch::close_minute(Timestamp now, const Surroundings& surroundings) {
  const std::int64_t ended = analysis::minute_of(now) - 1;
  std::optional<double> ln_mains;
  if (surroundings.ln_mains) ln_mains = point_->is_temperature() ? mains_lag_.step(ended, *surroundings.ln_mains) : *surroundings.ln_mains;
  if (surroundings.room) room_lag_.step(ended, *surroundings.room);
  if (ln_mains) ln_mains_known_ = *ln_mains;
  const auto minute = minute_.close_before(now);
  if (!minute) return;
  closed_ = minute;
  // A minute in which nobody read the mains or the room had those of before.
  series_.add({minute->index, minute->median, ln_mains_known_, room_lag_.value().value_or(0.0)});
  if (has_contact_watch_) contact_.learn(minute->median, watts_, minute->index);
  if (!point_->is_temperature() && expectation_.is_relative && ln_mains && std::fabs(minute->median) > 0.0)
    exponent_.learn(minute->index, std::log(std::fabs(minute->median)), *ln_mains);
}

double PointWatch::least_visible() const {
  constexpr double digits = 2.0;
  const double step = point_->accuracy ? analysis::smallest_visible_change(*point_->accuracy) : digits * digit_;
  switch (traits_.scale) {
    case analysis::Scale::kelvin: return step;
    case analysis::Scale::linear: return step / traits_.unit;
    case analysis::Scale::logarithm: break;
  }
  return last_good_ && *last_good_ != 0.0 ? step / std::fabs(*last_good_) : 0.0;
}

void PointWatch::begin_segment() {
  series_.clear();
  minute_.clear();
  doubtful_.clear();
  contact_.clear();
  bursts_.clear();
  roughness_.clear();
  plausible_.clear();
  closed_.reset();
  exponent_.forget_neighbours();
  is_baseline_current_ = false;
  trend.reset();
  settling = {};
  minutes_close = 0;
  for (Limit& limit : limits_) limit.watch.clear();
  disarm_cold_limits();
}

void PointWatch::disarm_cold_limits() {
  are_cold_limits_armed_ = false;
  inside_since_.reset();
}

void PointWatch::arm_all_limits() { are_cold_limits_armed_ = true; }

void PointWatch::freeze_baseline(Timestamp at, int segment, Duration window) {
  std::vector<std::int64_t> minutes;
  std::vector<double> hours;
  std::vector<double> values;
  columns(window, minutes, hours, values);
  if (values.size() < 3) return;
  const analysis::Robust robust = analysis::robust_of(values);
  // What still settles is no noise: the spread is that of the rest.
  const auto line = analysis::fit_line(hours, values);
  const double spread = line ? std::min(line->residual_sd, robust.spread) : robust.spread;
  Baseline baseline{at, segment, robust.level, spread, recent_raw_level(window).value_or(robust.level), 0.0, 0.0, 0.0, 1.0};
  baseline.ln_mains = series_.back().ln_mains;
  baseline.room = series_.back().room;
  // A tail that is mostly noise must not move the expectation.
  constexpr double spreads_of_a_tail = 4.0;
  if (settling.asymptote && settling.tau_minutes && std::fabs(settling.change_per_half_hour) > spreads_of_a_tail * spread) {
    const double to_go_max = settling_tolerance.distance;
    baseline.to_go = std::clamp(*settling.asymptote - robust.level, -to_go_max, to_go_max);
    baseline.tau_minutes = std::clamp(*settling.tau_minutes, 5.0, 120.0);
  }
  baselines_.push_back(baseline);
  is_baseline_current_ = true;
}

double PointWatch::compensated(const analysis::SeriesMinute& minute) const {
  return analysis::compensated(minute, expectation_, exponent_.value(), point_->is_temperature());
}

void PointWatch::columns(Duration window, std::vector<std::int64_t>& minutes, std::vector<double>& hours, std::vector<double>& values) const {
  minutes.clear();
  hours.clear();
  values.clear();
  if (series_.empty()) return;
  const std::int64_t from = series_.back().index + 1 - static_cast<std::int64_t>(minutes_of(window));
  auto it = series_.begin() + static_cast<std::ptrdiff_t>(series_.size() > static_cast<std::size_t>(minutes_of(window))
                                                              ? series_.size() - static_cast<std::size_t>(minutes_of(window))
                                                              : 0);
  for (; it != series_.end(); ++it) {
    if (it->index < from) continue;
    minutes.push_back(it->index);
    hours.push_back(static_cast<double>(it->index) / 60.0);
    values.push_back(compensated(*it));
  }
}

std::optional<double> PointWatch::recent_level(Duration window) const {
  std::vector<std::int64_t> minutes;
  std::vector<double> hours;
  std::vector<double> values;
  columns(window, minutes, hours, values);
  if (2.0 * static_cast<double>(values.size()) < minutes_of(window) || values.empty()) return std::nullopt;
  return analysis::median_in_place(values);
}

std::optional<double> PointWatch::recent_raw_level(Duration window) const {
  std::vector<double> values;
  if (series_.empty()) return std::nullopt;
  const std::int64_t from = series_.back().index + 1 - static_cast<std::int64_t>(minutes_of(window));
  for (auto it = series_.rbegin(); it != series_.rend() && it->index >= from; ++it) values.push_back(it->raw);
  if (values.empty()) return std::nullopt;
  return analysis::median_in_place(values);
}

}  // namespace steadyglow::soak
