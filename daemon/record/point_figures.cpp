#include "record/point_figures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/moments.hpp"
#include "analysis/statistics.hpp"
#include "analysis/uncertainty.hpp"
#include "analysis/warm_up.hpp"
#include "core/decimal.hpp"
#include "record/plain_words.hpp"
#include "soak/words.hpp"

namespace steadyglow::record {
namespace {

using profile::Role;

constexpr double coverage_factor = 2.0;  ///< about 95 % for a normal distribution; the usual one
constexpr std::size_t end_minutes = 60;
constexpr std::size_t last_seen_minutes = 15;
/// A slope over less than this is the noise of a short look: common practice, no source.
constexpr double slope_hours_min = 1.0;
/// Longer than this a trim or a warm-up of the past would be fitted with what goes on now.
constexpr std::size_t slope_minutes_max = 12 * 60;
/// Means of ten minutes: neighbours know less of each other than minutes do, and the interval is the more honest for it.
constexpr std::int64_t block_minutes = 10;
constexpr std::size_t blocks_min = 6;
constexpr Duration baseline_if_not_told = std::chrono::minutes{30};

bool bears_heat(Role role) { return role == Role::heatsink || role == Role::transformer || role == Role::motor || role == Role::chassis; }

std::string trouble_words(std::uint8_t trouble) {
  if (trouble == trouble_contact) return "contact lost";
  switch (static_cast<Quality>(trouble)) {
    case Quality::good: return "no reading";
    case Quality::over_range: return "over range";
    case Quality::open_sensor: return "open sensor";
    case Quality::stale: return "stale";
    case Quality::no_answer: return "no answer";
    case Quality::refused: return "refused";
    case Quality::implausible: return "implausible";
    case Quality::contact_lost: return "contact lost";
    case Quality::other_meter: return "another meter answered";
  }
  return "no reading";
}

/// Makes the figures of every point of one run.
class Maker {
 public:
  Maker(const Listener& heard, const soak::Engine& engine, RunFigures& figures) : heard_(heard), engine_(engine), figures_(figures) {
    mains_ = figures.profile.first_of(Role::mains_voltage);
    room_ = figures.profile.first_of(Role::ambient);
    watts_ = figures.profile.first_of(Role::mains_power);
  }

  void make() {
    for (std::size_t i = 0; i < figures_.profile.points.size(); ++i) figures_.points.push_back(point(PointId{static_cast<std::uint16_t>(i)}));
  }

 private:
  PointFigures point(PointId id) const {
    PointFigures made;
    made.id = id;
    made.point = figures_.profile.point(id);
    made.words = point_words(made.point);
    made.role_words = role_words(made.point.role);
    made.counted = engine_.counted(id);
    made.mains_exponent = engine_.points()[id.index].mains_exponent();
    made.mains_exponent_sd = engine_.points()[id.index].mains_exponent_sd();
    made.minutes = minutes(id);
    const Timestamp touched = last_touch(id);
    levels(made, touched);
    made.slope = slope(id, touched);
    uncertainty(made);
    seen(made);
    if (bears_heat(made.point.role)) made.thermal = thermal(made);
    return made;
  }

  std::vector<MinuteFigures> minutes(PointId id) const {
    const auto& sums = heard_.minutes()[id.index];
    std::vector<MinuteFigures> minutes(figures_.minute_has_power.size());
    for (std::size_t i = 0; i < std::min(sums.size(), minutes.size()); ++i)
      if (sums[i].count > 0) minutes[i] = {sums[i].min, sums[i].sum / sums[i].count, sums[i].max, true};
    return minutes;
  }

  Timestamp last_touch(PointId id) const {
    Timestamp at{};
    for (const Touch& touch : figures_.touches)
      if (touch.points.empty() || std::find(touch.points.begin(), touch.points.end(), id) != touch.points.end()) at = std::max(at, touch.at);
    return at;
  }

  std::optional<double> mean_of(PointId id, std::span<const std::size_t> minutes) const {
    const auto& sums = heard_.minutes()[id.index];
    double sum = 0.0;
    std::size_t count = 0;
    for (const std::size_t minute : minutes)
      if (minute < sums.size() && sums[minute].count > 0) sum += sums[minute].sum / sums[minute].count, ++count;
    return count > 0 ? std::optional(sum / static_cast<double>(count)) : std::nullopt;
  }

  std::optional<Level> level(PointId id, const std::vector<std::size_t>& minutes) const {
    const auto& sums = heard_.minutes()[id.index];
    std::vector<double> values;
    for (const std::size_t minute : minutes)
      if (minute < sums.size() && sums[minute].count > 0) values.push_back(sums[minute].sum / sums[minute].count);
    if (values.empty()) return std::nullopt;
    Level level;
    level.from = at_ms(static_cast<std::int64_t>(minutes.front()) * 60'000);
    level.to = std::min(at_ms(static_cast<std::int64_t>(minutes.back() + 1) * 60'000), Timestamp{figures_.length});
    level.minutes = values.size();
    const auto moments = analysis::moments(values);
    level.mean = moments ? moments->mean : values.front();
    level.spread = moments ? moments->sd : 0.0;
    if (mains_) level.mains_volts = volts_of(*mains_, mean_of(*mains_, minutes));
    if (room_) level.room_celsius = mean_of(*room_, minutes);
    if (watts_) level.watts = volts_of(*watts_, mean_of(*watts_, minutes));
    return level;
  }

  /// To the base unit: V or W.
  std::optional<double> volts_of(PointId id, std::optional<double> value) const { return value ? std::optional(*value * figures_.profile.point(id).uom.to_base) : std::nullopt; }

  std::vector<std::size_t> stretch(Timestamp from, Timestamp to) const {
    std::vector<std::size_t> minutes;
    for (auto i = static_cast<std::size_t>(std::max<std::int64_t>(0, ms_of(from)) / 60'000); i < static_cast<std::size_t>((ms_of(to) + 59'999) / 60'000) && i < figures_.minute_counts.size(); ++i) minutes.push_back(i);
    return minutes;
  }

  /// The newest minutes with a reading of this point for which `fits` holds, oldest first.
  template <class Fits>
  std::vector<std::size_t> newest(PointId id, std::size_t most, Timestamp after, Fits fits) const {
    const auto& sums = heard_.minutes()[id.index];
    std::vector<std::size_t> minutes;
    for (std::size_t i = std::min(sums.size(), figures_.minute_counts.size()); i-- > 0 && minutes.size() < most;)
      if (static_cast<std::int64_t>(i) * 60'000 >= ms_of(after) && sums[i].count > 0 && fits(i)) minutes.push_back(i);
    std::reverse(minutes.begin(), minutes.end());
    return minutes;
  }

  void levels(PointFigures& made, Timestamp touched) const {
    const auto& baselines = heard_.baselines()[made.id.index];
    const auto level_of = [&](const Listener::Taken& taken) {
      const Duration window = taken.window > Duration{} ? taken.window : baseline_if_not_told;
      return level(made.id, stretch(std::max(Timestamp{}, taken.at - window), taken.at));
    };
    const auto after = std::find_if(baselines.begin(), baselines.end(), [&](const auto& taken) { return taken.at > touched; });
    if (after != baselines.end()) made.start = level_of(*after);
    if (!baselines.empty() && after != baselines.begin()) made.first_start = level_of(baselines.front());
    made.end = level(made.id, newest(made.id, end_minutes, touched, [&](std::size_t i) { return figures_.minute_counts[i]; }));
    made.last_seen = level(made.id, newest(made.id, last_seen_minutes, Timestamp{}, [&](std::size_t i) { return figures_.minute_has_power[i]; }));
  }

  /// Over counted minutes since the point was touched, allowed for mains and room as the engine does.
  std::optional<Slope> slope(PointId id, Timestamp touched) const {
    const soak::PointWatch& watch = engine_.points()[id.index];
    std::vector<const analysis::SeriesMinute*> counted;
    for (const analysis::SeriesMinute& minute : heard_.series()[id.index])
      if (minute.index >= 0 && static_cast<std::size_t>(minute.index) < figures_.minute_counts.size() && figures_.minute_counts[static_cast<std::size_t>(minute.index)] && minute.index * 60'000 >= ms_of(touched))
        counted.push_back(&minute);
    if (counted.size() > slope_minutes_max) counted.erase(counted.begin(), counted.end() - slope_minutes_max);
    std::vector<double> hours, values;
    for (std::size_t i = 0; i < counted.size();) {
      const std::int64_t block = counted[i]->index / block_minutes;
      double hour = 0.0, value = 0.0;
      std::size_t count = 0;
      for (; i < counted.size() && counted[i]->index / block_minutes == block; ++i, ++count) hour += static_cast<double>(counted[i]->index) / 60.0, value += watch.compensated(*counted[i]);
      if (2 * count < static_cast<std::size_t>(block_minutes)) continue;
      hours.push_back(hour / static_cast<double>(count));
      values.push_back(value / static_cast<double>(count));
    }
    if (hours.size() < blocks_min || hours.back() - hours.front() < slope_hours_min - 0.2) return std::nullopt;
    const auto line = analysis::fit_line(hours, values);
    if (!line) return std::nullopt;
    Slope slope{line->slope, line->slope_low, line->slope_high, static_cast<double>(counted.size()) / 60.0, false};
    const auto accuracy = accuracy_of(id);
    const double visible = accuracy ? analysis::smallest_visible_change(*accuracy) : 0.0;
    slope.is_significant = (slope.low > 0.0 || slope.high < 0.0) && std::fabs(slope.per_hour) * (hours.back() - hours.front()) > visible;
    return slope;
  }

  std::optional<profile::Accuracy> accuracy_of(PointId id) const {
    const profile::Point& point = figures_.profile.point(id);
    if (point.accuracy) return point.accuracy;
    const Wire* wire = figures_.wiring.find(point.name);
    return wire ? wire->accuracy : std::nullopt;
  }

  void uncertainty(PointFigures& made) const {
    const Wire* wire = figures_.wiring.find(made.point.name);
    if (wire != nullptr) made.meter = wire->meter;
    const auto accuracy = accuracy_of(made.id);
    const std::optional<Level>& at = made.end ? made.end : made.start ? made.start : made.last_seen;
    if (!accuracy) {
      made.uncertainty_from = "not stated: neither the profile nor the meter's entry says how accurate it is";
      return;
    }
    if (!at) {
      made.uncertainty_from = "not stated: nothing was read";
      return;
    }
    // A mean does not make a meter better, and its readings know of each other: only the statement is used.
    const auto with_chain = wire != nullptr && !made.point.accuracy ? wire->standard_uncertainty(at->mean) : std::nullopt;
    if (wire != nullptr && !made.point.accuracy && !wire->doubts.empty() && !with_chain) {
      made.uncertainty_from = "not stated: what stands before its meter was not worked out for such a reading";
      return;
    }
    made.expanded_uncertainty = coverage_factor * with_chain.value_or(analysis::standard_uncertainty(*accuracy, at->mean));
    made.uncertainty_from = made.point.accuracy ? "the accuracy that the profile states for its meter"
                            : with_chain        ? "what is stated of its meter and of what stands between the two"
                                                : "the accuracy that is stated for its meter";
    if (!made.point.accuracy && wire != nullptr)
      for (std::size_t i = 0; i < wire->doubt_without.size(); ++i) made.uncertainty_from += (i == 0 ? "; not stated, and not in it: " : ", ") + wire->doubt_without[i];
    if (made.point.sense) made.uncertainty_from += fmt::format("; as read over {} ohm, the resistor's own tolerance is not stated", to_figure(made.point.sense->value, 3));
  }

  void seen(PointFigures& made) const {
    const auto& sums = heard_.minutes()[made.id.index];
    std::size_t powered = 0, seen = 0, counted = 0, seen_counted = 0;
    const auto silent_minutes = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(minutes_of(figures_.plan.silent_after))));
    for (std::size_t i = 0; i < made.minutes.size(); ++i) {
      const bool is_seen = made.minutes[i].is_seen;
      if (figures_.minute_has_power[i]) ++powered, seen += is_seen ? 1 : 0;
      if (figures_.minute_counts[i]) ++counted, seen_counted += is_seen ? 1 : 0;
    }
    made.share_seen = powered > 0 ? static_cast<double>(seen) / static_cast<double>(powered) : 0.0;
    made.share_seen_counted = counted > 0 ? static_cast<double>(seen_counted) / static_cast<double>(counted) : 0.0;
    for (std::size_t i = 0; i < made.minutes.size();) {
      if (made.minutes[i].is_seen || !figures_.minute_has_power[i]) {
        ++i;
        continue;
      }
      const std::size_t from = i;
      std::uint8_t trouble = 0;
      for (; i < made.minutes.size() && !made.minutes[i].is_seen && figures_.minute_has_power[i]; ++i)
        if (i < sums.size() && sums[i].trouble != 0) trouble = sums[i].trouble;
      if (i - from < silent_minutes) continue;
      made.gaps.push_back({at_ms(static_cast<std::int64_t>(from) * 60'000), at_ms(static_cast<std::int64_t>(i) * 60'000), trouble_words(trouble)});
    }
  }

  std::optional<Thermal> thermal(const PointFigures& made) const {
    if (!room_) return std::nullopt;
    const auto rise_of = [](const std::optional<Level>& level) { return level && level->room_celsius ? std::optional(level->mean - *level->room_celsius) : std::nullopt; };
    constexpr double watts_least = 1.0;
    const auto per_watt = [&](const std::optional<Level>& level) -> std::optional<double> {
      const auto rise = rise_of(level);
      if (!rise || !level->watts || *level->watts < watts_least) return std::nullopt;
      return *rise / *level->watts;
    };
    Thermal thermal;
    thermal.rise_kelvin = rise_of(made.end ? made.end : made.start);
    thermal.kelvin_per_watt = per_watt(made.end ? made.end : made.start);
    thermal.start_kelvin_per_watt = per_watt(made.start);
    fit_warm_up(made, thermal);
    return thermal;
  }

  /// The rise over the room from the start until the first baseline, touch or loss of supply.
  void fit_warm_up(const PointFigures& made, Thermal& thermal) const {
    const auto& room = heard_.minutes()[room_->index];
    std::size_t end = std::min<std::size_t>({made.minutes.size(), room.size(), analysis::warm_up_minutes_max});
    if (!heard_.baselines()[made.id.index].empty()) end = std::min(end, static_cast<std::size_t>(ms_of(heard_.baselines()[made.id.index].front().at) / 60'000));
    std::vector<std::int64_t> minutes;
    std::vector<double> rises;
    for (std::size_t i = 0; i < end && figures_.minute_has_power[i]; ++i) {
      if (!made.minutes[i].is_seen || room[i].count == 0) continue;
      minutes.push_back(static_cast<std::int64_t>(i));
      rises.push_back(made.minutes[i].mean - room[i].sum / room[i].count);
    }
    if (minutes.size() < analysis::warm_up_minutes_min) return;
    const auto fit = analysis::fit_warm_up(minutes, rises);
    if (!fit) return;
    thermal.tau_minutes = fit->likely.modes[0].tau_minutes;
    thermal.tau_least = fit->fastest.modes[0].tau_minutes;
    if (fit->slowest) thermal.tau_most = fit->slowest->modes[0].tau_minutes;
  }

  const Listener& heard_;
  const soak::Engine& engine_;
  RunFigures& figures_;
  std::optional<PointId> mains_, room_, watts_;
};

}  // namespace

void figure_points(const Listener& heard, const soak::Engine& engine, RunFigures& figures) { Maker(heard, engine, figures).make(); }

}  // namespace steadyglow::record
