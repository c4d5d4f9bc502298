#pragma once
/// Is there a trend, whatever the distribution and whatever single wild values do? Ranks and medians of slopes.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

#include "core/result.hpp"

namespace steadyglow::analysis {

/// Every pair is looked at: thin a longer series first.
inline constexpr std::size_t rank_points_max = 2000;
/// Up to here the distribution of S is counted out when no two values are equal.
inline constexpr std::size_t exact_points_max = 50;

struct MannKendall {
  std::int64_t s = 0;       ///< rising pairs less falling pairs
  double variance = 0.0;    ///< of S without trend, ties allowed for
  double z = 0.0;           ///< (S - sign S) / sqrt(variance)
  double p = 1.0;           ///< two-sided: chance of at least this |S| without trend
  bool is_exact = false;    ///< p was counted out, not taken from the normal curve
};

/// Mann-Kendall test of values in order of time, equal spacing not needed. Fails with Fault::bad_data for fewer than three values,
/// more than rank_points_max, or a value that is not finite. A constant series has S = 0, p = 1.
/// Source: Kendall 1975, Rank Correlation Methods; var S = [n(n-1)(2n+5) - sum t(t-1)(2t+5)] / 18.
Result<MannKendall> mann_kendall(std::span<const double> values);

struct TheilSen {
  double slope = 0.0;      ///< median slope of all pairs: uom of y per uom of x
  double intercept = 0.0;  ///< median(y) - slope * median(x) (Conover 1980)
  double slope_low = 0.0;  ///< two-sided interval at the confidence asked for
  double slope_high = 0.0;
};

/// Sen's slope with the interval from the variance of S, ranks interpolated. x ascending or not; pairs of equal x are left out.
/// Fails with Fault::bad_data as mann_kendall does, and when all x are equal.
/// Source: Sen 1968, JASA 63; interval after Gilbert 1987, Statistical Methods for Environmental Pollution Monitoring, section 16.5.
Result<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y, double confidence = 0.95);

struct AutocorrelatedTrend {
  double factor = 1.0;    ///< by which memory of the series widens the variance of S (below 1: narrows it)
  double variance = 0.0;
  double z = 0.0;
  double p = 1.0;         ///< two-sided, normal
};

/// Mann-Kendall with the variance put right for autocorrelation: that of the ranks of what is left of the Sen line, lags that are
/// significant at 5 %. The sum keeps its sign, as published. Nothing when the factor comes out zero or below: then the correction
/// says nothing. Values at equal distances. Fails as mann_kendall does.
/// Source: Hamed and Rao 1998, Journal of Hydrology 204, equation 7 ff.
Result<std::optional<AutocorrelatedTrend>> mann_kendall_autocorrelated(std::span<const double> values);

}  // namespace steadyglow::analysis
