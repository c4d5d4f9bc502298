#include "analysis/runaway.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

constexpr std::array<std::size_t, 3> windows{2, 4, 8};
constexpr std::size_t reference_minutes = 15;
constexpr std::size_t reference_minutes_min = 8;
/// Steps must grow by this much to be called accelerating: a straight ramp has 1.
constexpr double growth_min = 1.3;
/// One minute may bring so much of the whole: at a doubling time of a minute it brings half.
constexpr double jump_share = 0.6;

double mean(std::span<const double> values) {
  double sum = 0.0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

}  // namespace

std::optional<double> Runaway::minutes_to(double limit) const {
  if (limit <= now) return 0.0;
  const double r = growth_per_window;
  const double reach = 1.0 + (limit - now) * (r - 1.0) / (last_step * r);
  if (!(reach > 0.0)) return std::nullopt;
  return window_minutes * std::log(reach) / std::log(r);
}

std::optional<Runaway> judge_runaway(std::span<const double> minutes, const RunawayPolicy& policy) {
  for (const std::size_t window : windows) {
    const std::size_t needed = 3 * window + reference_minutes_min;
    if (minutes.size() < needed) continue;
    const std::size_t start = minutes.size() - 3 * window;
    const std::size_t reference_start = start > reference_minutes ? start - reference_minutes : 0;
    std::vector<double> reference(minutes.begin() + static_cast<std::ptrdiff_t>(reference_start),
                                  minutes.begin() + static_cast<std::ptrdiff_t>(start));
    const double m1 = mean(minutes.subspan(start, window));
    const double m2 = mean(minutes.subspan(start + window, window));
    // One wild minute at the end is no growth: of two, the lower counts.
    const std::span<const double> last = minutes.subspan(start + 2 * window, window);
    const double m3 = window == 2 ? std::min(last[0], last[1]) : mean(last);
    const double from = median_in_place(reference);
    const double first = m2 - m1;
    const double second = m3 - m2;
    const bool is_growing = first > 0.25 * policy.step_min && second > policy.step_min && second > growth_min * first;
    if (!is_growing || m3 - from < policy.moved_min) continue;
    // A jump is no growth, however the windows fall on it.
    double largest = 0.0;
    for (std::size_t i = start; i < minutes.size(); ++i) largest = std::max(largest, minutes[i] - minutes[i - 1]);
    if (largest > jump_share * (minutes.back() - from)) continue;
    const double ratio = second / first;
    return Runaway{from, minutes.back(), static_cast<double>(window), static_cast<double>(window) * std::log(2.0) / std::log(ratio), ratio, second};
  }
  return std::nullopt;
}

}  // namespace steadyglow::analysis
