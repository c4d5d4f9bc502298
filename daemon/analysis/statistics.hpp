#pragma once
/// Robust levels and straight lines: the arithmetic that every detector stands on.
#include <cstddef>
#include <optional>
#include <span>

namespace steadyglow::analysis {

/// Turns a median absolute deviation into a standard deviation for normal data: 1 / Phi^-1(3/4).
inline constexpr double mad_to_sigma = 1.4826;

/// Median (mean of the middle two for an even count). Reorders `values`, which must not be empty.
double median_in_place(std::span<double> values);

/// Level and spread that a few wild values cannot move: median, and 1.4826 times the median absolute deviation.
struct Robust {
  double level = 0.0;
  double spread = 0.0;
};
Robust robust_of(std::span<const double> values);

/// Least-squares line y = a + b x with an interval for b.
struct LineFit {
  double intercept = 0.0;
  double slope = 0.0;
  double slope_se = 0.0;       ///< standard error, independent residuals
  double residual_sd = 0.0;
  double autocorrelation = 0.0;  ///< lag-1, of the residuals, in [-1, 1]
  double slope_low = 0.0;      ///< two-sided 95 % interval with the error inflated for autocorrelation
  double slope_high = 0.0;
  std::size_t count = 0;
};

/// Fits a line; nothing for fewer than 3 points or when all x are equal.
/// b +- t(n_eff - 2) s / sqrt(Sxx); n_eff = n (1 - r) / (1 + r) for r > 0 (lag-1 residual autocorrelation), so that
/// the standard error grows by sqrt((1 + r) / (1 - r)). Source of the line: NIST/SEMATECH e-Handbook 4.1.4.1;
/// of the effective count: common practice for AR(1) errors.
std::optional<LineFit> fit_line(std::span<const double> x, std::span<const double> y);

/// Two-sided 95 % quantile of Student's t.
double student_t95(double degrees_of_freedom);

}  // namespace steadyglow::analysis
