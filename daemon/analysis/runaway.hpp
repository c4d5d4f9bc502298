#pragma once
/// Growth that feeds itself: each step larger than the one before.
#include <optional>
#include <span>

namespace steadyglow::analysis {

struct RunawayPolicy {
  double moved_min = 0.0;  ///< in uom: what has to have moved before anybody may call it a runaway
  double step_min = 0.0;   ///< in uom: the last step, at least
};

struct Runaway {
  double from = 0.0;             ///< level before it began, in uom
  double now = 0.0;
  double window_minutes = 0.0;
  double doubling_minutes = 0.0;  ///< of the excess over `from`
  double growth_per_window = 0.0;  ///< ratio of the last two steps, above 1
  double last_step = 0.0;

  /// Minutes until `limit`, if it goes on doubling: the n of  now + step r (r^n - 1)/(r - 1) = limit  times the window.
  std::optional<double> minutes_to(double limit) const;
};

/// Looks at three neighbouring windows of 2, 4 and 8 minutes at the end of the series of minute medians (oldest first,
/// no gap inside) against the quarter of an hour before them. Only growth (upwards) counts: pass a falling magnitude negated.
std::optional<Runaway> judge_runaway(std::span<const double> minutes, const RunawayPolicy& policy);

inline constexpr std::size_t runaway_minutes = 8 * 3 + 15;  ///< how much of the series it wants

}  // namespace steadyglow::analysis
