#pragma once
/// Where a point is going: its slope at several horizons with an honest interval, and when that meets a limit.
#include <optional>
#include <span>

#include "analysis/statistics.hpp"
#include "profile/profile.hpp"

namespace steadyglow::analysis {

/// A time until something, as a range; `most` is absent when the slower end of the interval never gets there.
struct HoursRange {
  double least = 0.0;
  double likely = 0.0;
  std::optional<double> most;
};

struct Trend {
  LineFit fit;               ///< per hour of run time
  double horizon_hours = 0.0;
  bool is_significant = false;  ///< the interval of the slope does not hold zero
};

/// Fits the last half hour, 1, 3 and 6 hours and returns the longest horizon whose slope is significant and has the sign of
/// `direction` (0: any sign), or else the longest fitted.
/// hours: run time in hours, ascending; values: compensated minute medians.
std::optional<Trend> judge_trend(std::span<const double> hours, std::span<const double> values, double direction = 0.0);

/// (limit - now) / slope for the slope and both ends of its interval; nothing if the interval holds zero or leads away.
std::optional<HoursRange> hours_to_limit(double now, double limit, const LineFit& fit);

/// The limit that a movement runs into: the nearest of warn and trip on that side.
struct LimitAhead {
  double limit = 0.0;
  bool is_trip = false;
};
std::optional<LimitAhead> limit_ahead(const profile::Point& point, double now, double slope);

}  // namespace steadyglow::analysis
