/// What the engine judges once a minute: where points are going, and with whom.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "analysis/runaway.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;

constexpr Duration level_window = std::chrono::minutes{15};
constexpr Duration trend_window = std::chrono::hours{6};
constexpr std::int64_t trend_every_minutes = 5;
/// Siblings that make less than this share of a movement (either way) stand still beside it.
constexpr double together_share = 0.6;
constexpr double runaway_trip_minutes = 2.0;
/// A runaway must exceed this many of the point's usual movements.
constexpr double habits_of_runaway = 6.0;

/// How far it has grown within that many minutes as it was measured, with nothing taken out, in uom.
double measured_move(const PointWatch& watch, double minutes) {
  const analysis::Series& series = watch.series();
  const auto before = std::find_if(series.rbegin(), series.rend(), [&](const auto& minute) { return static_cast<double>(series.back().index - minute.index) >= minutes; });
  if (before == series.rend()) return 0.0;
  return watch.point().is_temperature() ? series.back().raw - before->raw : std::fabs(series.back().raw) - std::fabs(before->raw);
}

}  // namespace

bool Engine::is_judged_for_trend(const PointWatch& watch) const {
  const profile::Point& point = watch.point();
  if (point.role == Role::mains_current || !departures_.is_judged(watch.id())) return false;
  // Currents and rails show themselves only in the quiet moments of a programme: they hold nothing up.
  return !is_quiet_point(point);
}

analysis::Climate::Input Engine::climate() const {
  analysis::Climate::Input input;
  const std::int64_t ended = analysis::minute_of(now_) - 1;
  // A minute without a reading of the mains or the room goes with the one before: they have no jumps that matter there.
  const auto minute_of_point = [&](std::optional<PointId> id) -> const analysis::Minute* {
    if (!id) return nullptr;
    const auto& minute = points_[id->index].minute();
    return minute && minute->index == ended ? &*minute : nullptr;
  };
  const bool is_powered = !mains_.is_gone() && !draws_no_power_;
  if (const auto* minute = minute_of_point(mains_point_); minute != nullptr && mains_.nominal() && is_powered) {
    const double share = std::fabs(to_base(profile_.point(*mains_point_), minute->median)) / *mains_.nominal();
    if (share > MainsWatch::gone_share) input.ln_mains = std::log(share);
  }
  if (!mains_point_ && is_powered) {
    input.ln_mains = proxy_ln_mains_;
    input.is_mains_guessed = true;
  }
  if (const auto* minute = minute_of_point(room_point_)) input.room = minute->median;
  input.is_room_guessed = room_point_ != ambient_point_;
  if (const auto* minute = minute_of_point(watts_point_)) input.watts = to_base(profile_.point(*watts_point_), minute->mean);
  if (!is_powered && watts_point_) input.watts = 0.0;
  return input;
}

/// One vote for each kind of figure that hangs on the mains: the median of its points that keep their course. Currents and
/// watts are one kind: whatever moves the one moves the other.
std::optional<double> Engine::mains_as_shown(std::int64_t minute) {
  if (profile_.drive == profile::Drive::programme) return std::nullopt;
  if (departures_.has_changed_drive(minute - 1)) proxy_.begin(minute);
  const auto kind_of = [](Role role) -> std::size_t {
    switch (role) {
      case Role::heater: return 0;
      case Role::supply: return 1;
      case Role::grid_bias: return 2;
      case Role::bias:
      case Role::mains_power:
      case Role::mains_current:
      case Role::supply_current: return 3;
      default: return 4;
    }
  };
  std::array<std::vector<double>, 4> figures;
  std::array<analysis::MainsProxy::Vote, 4> votes{};
  for (const PointWatch& watch : points_) {
    const std::size_t kind = kind_of(watch.point().role);
    if (kind >= figures.size() || !watch.minute() || watch.minute()->index != minute || departures_.own(watch.id()).state().is_departed) continue;
    const analysis::Traits& traits = departures_.own(watch.id()).traits();
    // In units of the mains: on the scale of its usual exponent.
    if (const auto figure = analysis::on_scale(traits, watch.minute()->median)) figures[kind].push_back(*figure / traits.mains.mean);
  }
  for (std::size_t kind = 0; kind < figures.size(); ++kind)
    if (!figures[kind].empty()) votes[kind].ln_value = analysis::median_in_place(figures[kind]);
  return proxy_.step(minute, votes);
}

void Engine::judge_trends(Timestamp now) {
  for (PointWatch& watch : points_) {
    if (power_ != Power::on) return;
    if (!is_judged_for_trend(watch) || watch.series().empty()) continue;
    judge_settling_of(watch);
    if (stages_.phase() != Phase::judging || !watch.baseline()) continue;
    if (analysis::minute_of(now) % trend_every_minutes == 0) learn_trend_of(watch);
    judge_runaway(watch, now);
  }
  if (power_ != Power::on) return;
  for (const Case& told : departures_.fresh()) tell(told, now);
  end_departures(now);
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
  const analysis::Traits& traits = departures_.own(watch.id()).traits();
  if (traits.scale == analysis::Scale::linear) scale = 6.0 * traits.unit;
  watch.settling_tolerance = {0.01 * scale, 0.02 * scale};
  watch.settling = analysis::judge_settling(minutes, values, watch.settling_tolerance);
  if (watch.settling.state == analysis::SettlingState::settled && book_.covers(Kind::settling, watch.id()))
    book_.clear(Kind::settling, watch.id(), now_, fmt::format("{} has settled", point.name));
}

/// The last minutes with mains, room and heat taken out, in uom, upwards being the dangerous way.
std::size_t Engine::tail_of(const analysis::Stream& stream, Timestamp now, std::span<double> tail) const {
  const std::size_t count = stream.unbroken(analysis::minute_of(now) - 1, departures_.climate(), tail);
  if (stream.traits().scale == analysis::Scale::logarithm)
    for (double& value : tail.first(count)) value = std::exp(value);
  return count;
}

void Engine::judge_runaway(PointWatch& watch, Timestamp now) {
  const profile::Point& point = watch.point();
  const bool can_run_away = point.role == Role::bias || point.role == Role::supply_current || (point.is_temperature() && departures_.is_judged(watch.id())) || (point.role == Role::mains_power && !activity_point_) || point.role == Role::motor;
  // A motor's current wanders with the reel it turns.
  if (!can_run_away || stands_with_the_transport(point) || (speed_point_ && point.is_temperature())) return;
  const analysis::Stream& stream = departures_.own(watch.id());
  // What has gone cannot run away; its noise may look so.
  constexpr double there_share = 0.3;
  if (!point.is_temperature() && std::fabs(*watch.last_good()) < there_share * std::fabs(watch.baseline()->raw_level)) return;
  std::array<double, analysis::runaway_minutes> tail{};
  const std::size_t count = tail_of(stream, now, tail);
  const Baseline baseline = *watch.baseline();
  const double scale = point.is_temperature() ? 100.0 : std::fabs(*watch.last_good());
  // Where nobody measures the mains, their taps look like the beginning of anything.
  const double runaway_share = 0.04 + (point.is_temperature() ? 0.0 : 0.06 * departures_.climate().unseen_mains()) + (point.role == Role::mains_power ? 0.02 : 0.0);
  const double habit = point.is_temperature() ? stream.habit() : stream.habit() * scale;
  const analysis::RunawayPolicy policy{std::max(runaway_share * scale + 3.0 * baseline.spread, habits_of_runaway * habit), std::max(0.012 * scale + 2.0 * baseline.spread, 0.3 * habits_of_runaway * habit)};
  auto runaway = analysis::judge_runaway(std::span<const double>(tail.data(), count), policy);
  // After a jump the fit may blame the room for it; then it is the compensation that moves.
  constexpr double measured_share = 0.5;
  if (runaway && measured_move(watch, 3.0 * runaway->window_minutes) < measured_share * (runaway->now - runaway->from)) runaway.reset();
  if (!runaway) {
    watch.minutes_close = 0;
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
    minutes = runaway->minutes_to(*high);
    finding.limit = high;
    if (minutes) limit_text = fmt::format("; {} limit {} in about {:.0f} min", point.trip.high ? "trip" : "warning", figure(point, *high), *minutes);
  }
  const bool is_close = point.trip.high && minutes && *minutes < runaway_trip_minutes && watch.is_beyond_warn();
  const bool is_closing = is_close && watch.minutes_close > 0;
  watch.minutes_close = is_close ? watch.minutes_close + 1 : 0;
  if (is_closing) finding.severity = Severity::trip;
  std::string company;
  std::size_t with = 0;
  for (const PointId id : point.matched_with) {
    std::array<double, analysis::runaway_minutes> other{};
    const std::size_t others = tail_of(departures_.own(id), now, other);
    const std::size_t back = static_cast<std::size_t>(3.0 * runaway->window_minutes);
    if (others <= back) continue;
    const double other_moved = other[others - 1] - other[others - 1 - back];
    if (other_moved < together_share * (runaway->now - runaway->from)) continue;
    finding.points.push_back(id);
    ++with;
  }
  if (!point.matched_with.empty()) company = with == 0 ? "; its matched points stand still" : fmt::format("; {} matched points go with it", with);
  const bool is_news = !book_.stands(Kind::runaway, watch.id());
  finding.message = fmt::format("{} runs away: {} to {} in {:.0f} min, doubling its excess every {:.1f} min{}{}{}; {}", point.name,
                                figure(point, raw_now - (runaway->now - runaway->from)), figure(point, raw_now), 3.0 * runaway->window_minutes,
                                runaway->doubling_minutes, limit_text, company, is_news ? loop_text(watch) : std::string{}, surroundings_text());
  const std::string reason = finding.message;
  if (book_.covers(Kind::runaway, watch.id()) && !book_.stands(Kind::runaway, watch.id()) && !is_closing) return;
  book_.raise(std::move(finding));
  if (is_closing) open_outlet(now, Power::tripped, reason);
}

}  // namespace steadyglow::soak
