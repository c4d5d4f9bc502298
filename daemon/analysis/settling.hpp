#pragma once
/// Is the warm-up over, and if not, when will it be?
#include <cstdint>
#include <optional>
#include <span>

namespace steadyglow::analysis {

enum class SettlingState { unknown, convex, settling, settled };

/// What the curve y = y_end - A exp(-t / tau) says of the last minutes.
struct Settling {
  SettlingState state = SettlingState::unknown;
  std::optional<double> asymptote;        ///< in the point's uom; absent while the curve is convex or flat
  std::optional<double> tau_minutes;
  std::optional<double> minutes_to_go;    ///< until within the tolerance of the asymptote
  double change_per_half_hour = 0.0;      ///< in the point's uom
};

struct SettlingTolerance {
  double slope_per_half_hour = 0.0;  ///< in uom: "settled" needs less (1 % of the point's scale)
  double distance = 0.0;             ///< in uom: and to stand this near to the asymptote (2 % of the scale)
};

/// Judges up to the last minute. Three means at equal distance give the asymptote in closed form:
/// y_end = (y1 y3 - y2^2) / (y1 + y3 - 2 y2). A curve that still bends upward gets no forecast.
/// minutes: minute of run time, ascending; values: compensated medians of those minutes.
Settling judge_settling(std::span<const std::int64_t> minutes, std::span<const double> values, const SettlingTolerance& tolerance);

}  // namespace steadyglow::analysis
