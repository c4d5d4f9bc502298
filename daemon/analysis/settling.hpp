#pragma once
/// Is the warm-up over, and if not, when will it be?
#include <cstdint>
#include <optional>
#include <span>
#include <string>

namespace steadyglow::analysis {

/// convex: bends away, or not enough to say where it ends.
enum class SettlingState { unknown, convex, settling, settled };

/// What the fitted warm-up says of the last minutes.
struct Settling {
  SettlingState state = SettlingState::unknown;
  std::optional<double> asymptote;        ///< in the point's uom; absent while the curve is convex or flat
  std::optional<double> asymptote_sd;     ///< one standard deviation, with the asymptote
  std::optional<double> tau_minutes;      ///< of the slower mode
  std::optional<double> fast_tau_minutes;  ///< of the faster one, where two are evident
  std::optional<double> minutes_to_go;    ///< until judge_settling would say settled
  std::optional<double> minutes_to_go_least;
  std::optional<double> minutes_to_go_most;  ///< absent when the data set no end
  double change_per_half_hour = 0.0;      ///< in the point's uom
};

struct SettlingTolerance {
  double slope_per_half_hour = 0.0;  ///< in uom: "settled" needs less (1 % of the point's scale)
  double distance = 0.0;             ///< in uom: and to stand this near to the asymptote (2 % of the scale)
};

/// Judges up to the last minute: settled when the medians of the last three blocks of ten minutes move less than the tolerance and the
/// asymptote is near (trade habit; no standard). Unknown until all three blocks are half filled.
/// minutes: minute of run time, ascending; values: compensated medians of those minutes.
Settling judge_settling(std::span<const std::int64_t> minutes, std::span<const double> values, const SettlingTolerance& tolerance);

/// For a person: "settled", "settled in about 25 min (20 to 40)", "still moving, no forecast yet", "too few minutes".
std::string settling_text(const Settling& settling);

}  // namespace steadyglow::analysis
