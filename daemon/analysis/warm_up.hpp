#pragma once
/// The curve of a unit getting warm: where it ends and how fast, with what the data allow.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace steadyglow::analysis {

/// One exponential of a warm-up: what is left of it at the last minute, and how fast it goes.
struct WarmUpMode {
  double left = 0.0;         ///< in the point's uom; 0: not there
  double tau_minutes = 1.0;
};

/// y = end + left1 exp(-t / tau1) + left2 exp(-t / tau2), t in minutes after the last one seen. The slower mode comes first.
struct WarmUpCurve {
  double end = 0.0;  ///< the asymptote, in the point's uom
  std::array<WarmUpMode, 2> modes;

  double at(double minutes_ahead) const;
};

/// A fitted warm-up: the likely curve, and those with the fastest and the slowest slow mode that the data still allow at 95 %.
struct WarmUp {
  WarmUpCurve likely;
  WarmUpCurve fastest;
  std::optional<WarmUpCurve> slowest;  ///< absent when the data allow any slowness
  double end_sd = 0.0;            ///< standard deviation of likely.end, allowing for autocorrelation
  double residual_sd = 0.0;
  bool has_two_modes = false;
};

inline constexpr std::size_t warm_up_minutes_max = 240;  ///< of the minutes given only the last so many are fitted
inline constexpr std::size_t warm_up_minutes_min = 12;
inline constexpr double tau_minutes_min = 2.0;    ///< faster is over before the minutes show it
inline constexpr double tau_minutes_max = 600.0;  ///< slower is a straight line to a night

/// Fits one mode, or two where the evidence is very strong (BIC better by more than 10: Kass and Raftery 1995, JASA 90). Single wild
/// minutes are left out. Nothing while the curve bends away, or bends so little that a straight line is as good: a forecast would be a guess.
/// Nonlinear least squares with the level and the two amplitudes projected out; the range is the profile of the sum of squares over
/// the slow tau (Bates and Watts 1988, Nonlinear Regression Analysis, chapter 6). Gaps between the minutes are allowed.
std::optional<WarmUp> fit_warm_up(std::span<const std::int64_t> minutes, std::span<const double> values);

}  // namespace steadyglow::analysis
