#include "analysis/settling.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

constexpr std::int64_t block_minutes = 10;  ///< three blocks: the last half hour
constexpr std::size_t block_fill_min = 5;   ///< readings a block needs

std::optional<double> block_level(std::span<const std::int64_t> minutes, std::span<const double> values, std::int64_t from) {
  std::vector<double> block;
  for (std::size_t i = 0; i < minutes.size(); ++i)
    if (minutes[i] >= from && minutes[i] < from + block_minutes) block.push_back(values[i]);
  if (block.size() < block_fill_min) return std::nullopt;
  return median_in_place(block);
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

  const double first = *y2 - *y1;
  const double second = *y3 - *y2;
  settling.change_per_half_hour = 1.5 * (*y3 - *y1);
  const bool is_flat = std::fabs(settling.change_per_half_hour) < tolerance.slope_per_half_hour;
  const double ratio = first != 0.0 ? second / first : 1.0;
  if (ratio > 0.0 && ratio < 1.0) {
    settling.asymptote = *y3 + second * ratio / (1.0 - ratio);
    settling.tau_minutes = -static_cast<double>(block_minutes) / std::log(ratio);
  }
  if (is_flat) {
    // Flat enough that the bend is mostly noise: an asymptote far away would be noise as well.
    const bool is_near = !settling.asymptote || std::fabs(*settling.asymptote - *y3) < tolerance.distance ||
                         std::fabs(settling.change_per_half_hour) < 0.5 * tolerance.slope_per_half_hour;
    settling.state = is_near ? SettlingState::settled : SettlingState::settling;
  } else {
    settling.state = settling.asymptote ? SettlingState::settling : SettlingState::convex;
  }
  if (settling.state == SettlingState::settling && settling.tau_minutes) {
    const double distance = std::fabs(*settling.asymptote - *y3);
    const double times = distance / std::max(tolerance.distance, 1e-12);
    settling.minutes_to_go = times > 1.0 ? *settling.tau_minutes * std::log(times) : 0.0;
  }
  return settling;
}

}  // namespace steadyglow::analysis
