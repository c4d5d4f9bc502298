#include "analysis/settling.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "analysis/statistics.hpp"
#include "analysis/warm_up.hpp"

namespace steadyglow::analysis {
namespace {

constexpr std::int64_t block_minutes = 10;  ///< three blocks: the last half hour
constexpr std::size_t block_fill_min = 5;   ///< readings a block needs
constexpr int halvings = 12;

std::optional<double> block_level(std::span<const std::int64_t> minutes, std::span<const double> values, std::int64_t from) {
  std::array<double, block_minutes> block;
  std::size_t count = 0;
  for (std::size_t i = 0; i < minutes.size() && count < block.size(); ++i)
    if (minutes[i] >= from && minutes[i] < from + block_minutes) block[count++] = values[i];
  if (count < block_fill_min) return std::nullopt;
  return median_in_place(std::span(block.data(), count));
}

constexpr double block_to_half_hour = 1.5;  ///< the middles of the first and the last block are twenty minutes apart

bool is_near(double distance, double change, const SettlingTolerance& tolerance) {
  return std::fabs(distance) < tolerance.distance || std::fabs(change) < 0.5 * tolerance.slope_per_half_hour;
}

/// What judge_settling would say after so many more minutes of this curve.
bool settles_by(const WarmUpCurve& curve, double ahead, const SettlingTolerance& tolerance) {
  const double last_block = curve.at(ahead - 0.5 * (block_minutes - 1));
  const double change = block_to_half_hour * (last_block - curve.at(ahead - 0.5 * (block_minutes - 1) - 2.0 * block_minutes));
  return std::fabs(change) < tolerance.slope_per_half_hour && is_near(curve.end - last_block, change, tolerance);
}

constexpr double forecast_minutes_max = 48.0 * 60.0;

/// The last minute it would not be settled, up to two days; absent beyond.
std::optional<double> minutes_until_settled(const WarmUpCurve& curve, const SettlingTolerance& tolerance) {
  if (!settles_by(curve, forecast_minutes_max, tolerance)) return std::nullopt;
  // A curve of two modes can pass its end and come back: look from afar, halving the time.
  double settled = forecast_minutes_max;
  double moving = 0.0;
  for (double ahead = settled; ahead > 0.5; ahead *= 0.8) {
    if (!settles_by(curve, ahead, tolerance)) {
      moving = ahead;
      break;
    }
    settled = ahead;
  }
  for (int i = 0; i < halvings; ++i) {
    const double middle = 0.5 * (moving + settled);
    (settles_by(curve, middle, tolerance) ? settled : moving) = middle;
  }
  return settled;
}

void forecast(Settling& settling, const WarmUp& warm_up, const SettlingTolerance& tolerance) {
  settling.minutes_to_go = minutes_until_settled(warm_up.likely, tolerance);
  if (!settling.minutes_to_go) return;
  settling.minutes_to_go_least = std::min(*settling.minutes_to_go, minutes_until_settled(warm_up.fastest, tolerance).value_or(*settling.minutes_to_go));
  if (!warm_up.slowest) return;
  if (const auto most = minutes_until_settled(*warm_up.slowest, tolerance)) settling.minutes_to_go_most = std::max(*settling.minutes_to_go, *most);
}

}  // namespace

Settling judge_settling(std::span<const std::int64_t> minutes, std::span<const double> values, const SettlingTolerance& tolerance) {
  Settling settling;
  if (minutes.empty()) return settling;
  const std::int64_t end = minutes.back() + 1;
  const auto y1 = block_level(minutes, values, end - 3 * block_minutes);
  const auto y2 = block_level(minutes, values, end - 2 * block_minutes);
  const auto y3 = block_level(minutes, values, end - block_minutes);
  if (!y1 || !y2 || !y3) return settling;

  settling.change_per_half_hour = block_to_half_hour * (*y3 - *y1);
  const auto warm_up = fit_warm_up(minutes, values);
  if (warm_up) {
    settling.asymptote = warm_up->likely.end;
    settling.asymptote_sd = warm_up->end_sd;
    settling.tau_minutes = warm_up->likely.modes[0].tau_minutes;
    if (warm_up->has_two_modes) settling.fast_tau_minutes = warm_up->likely.modes[1].tau_minutes;
  }
  if (std::fabs(settling.change_per_half_hour) < tolerance.slope_per_half_hour) {
    // Flat enough that the bend is mostly noise: an asymptote far away would be noise as well.
    const bool is_there = !warm_up || is_near(warm_up->likely.end - *y3, settling.change_per_half_hour, tolerance);
    settling.state = is_there ? SettlingState::settled : SettlingState::settling;
  } else {
    settling.state = warm_up ? SettlingState::settling : SettlingState::convex;
  }
  if (settling.state == SettlingState::settling) forecast(settling, *warm_up, tolerance);
  return settling;
}

std::string settling_text(const Settling& settling) {
  const auto minutes = [](double value) { return std::to_string(std::lround(value)); };
  switch (settling.state) {
    case SettlingState::unknown: return "too few minutes";
    case SettlingState::settled: return "settled";
    case SettlingState::convex: return "still moving, no forecast yet";
    case SettlingState::settling: break;
  }
  if (!settling.minutes_to_go || !settling.minutes_to_go_least) return "still moving, no forecast yet";
  const std::string likely = "settled in about " + minutes(*settling.minutes_to_go) + " min (" + minutes(*settling.minutes_to_go_least);
  return settling.minutes_to_go_most ? likely + " to " + minutes(*settling.minutes_to_go_most) + ")" : likely + " or more)";
}

}  // namespace steadyglow::analysis
