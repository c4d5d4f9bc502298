#include "analysis/trend.hpp"

#include <algorithm>
#include <array>

namespace steadyglow::analysis {
namespace {
constexpr std::array horizons_hours{6.0, 3.0, 1.0, 0.5};
constexpr std::size_t minutes_min = 20;
}  // namespace

std::optional<Trend> judge_trend(std::span<const double> hours, std::span<const double> values, double direction) {
  std::optional<Trend> longest;
  if (hours.empty()) return longest;
  for (const double horizon : horizons_hours) {
    const auto first = std::lower_bound(hours.begin(), hours.end(), hours.back() - horizon);
    const auto skip = static_cast<std::size_t>(first - hours.begin());
    if (hours.size() - skip < minutes_min) continue;
    const auto fit = fit_line(hours.subspan(skip), values.subspan(skip));
    if (!fit) continue;
    const Trend trend{*fit, std::min(horizon, hours.back() - hours[skip]), fit->slope_low > 0.0 || fit->slope_high < 0.0};
    if (trend.is_significant && trend.fit.slope * direction >= 0.0) return trend;
    if (!longest) longest = trend;
  }
  return longest;
}

std::optional<HoursRange> hours_to_limit(double now, double limit, const LineFit& fit) {
  const double distance = limit - now;
  const bool leads_there = distance > 0.0 ? fit.slope_low > 0.0 : fit.slope_high < 0.0;
  if (distance == 0.0 || !leads_there) return std::nullopt;
  const double fast = distance > 0.0 ? fit.slope_high : fit.slope_low;
  const double slow = distance > 0.0 ? fit.slope_low : fit.slope_high;
  return HoursRange{distance / fast, distance / fit.slope, distance / slow};
}

std::optional<LimitAhead> limit_ahead(const profile::Point& point, double now, double slope) {
  const bool is_up = slope > 0.0;
  const auto on_side = [&](const profile::Band& band) { return is_up ? band.high : band.low; };
  const auto lies_ahead = [&](double limit) { return is_up ? limit > now : limit < now; };
  const auto warn = on_side(point.warn);
  const auto trip = on_side(point.trip);
  if (warn && lies_ahead(*warn)) return LimitAhead{*warn, false};
  if (trip && lies_ahead(*trip)) return LimitAhead{*trip, true};
  return std::nullopt;
}

}  // namespace steadyglow::analysis
