#pragma once
/// Do units fail early, at random or by wear: a Weibull distribution through failures and survivors.
#include <cstddef>
#include <span>

#include "reliability/life.hpp"

namespace steadyglow::reliability {

inline constexpr std::size_t weibull_failures_min = 5;   ///< fewer say nothing of the shape
inline constexpr std::size_t weibull_failures_good = 10;  ///< fewer are a guess (common practice, no source)

/// S(t) = exp(-(t / scale)^shape). Shape below 1: the weak ones fail early and soaking helps; 1: at random; above 1: wear.
struct Weibull {
  double shape = 1.0;
  double scale_hours = 0.0;  ///< 63.2 % have failed
  double log_likelihood = 0.0;
  double log_shape_error = 0.0;  ///< standard errors and covariance of ln shape and ln scale, from the observed information
  double log_scale_error = 0.0;
  double covariance = 0.0;
  Interval shape_interval;  ///< normal in the logarithm, hence above zero
  Interval scale_interval;  ///< hours
  std::size_t failures = 0;
  std::size_t units = 0;
  bool is_guess = false;  ///< fewer than weibull_failures_good
};

/// Maximum likelihood with right censoring. Fails with Fault::bad_data as check() does, under weibull_failures_min failures, and when
/// all failed at the same hours (the likelihood then has no top).
/// Source: NIST/SEMATECH e-Handbook 8.4.1.2; shape from sum t^k ln t / sum t^k - 1/k = mean ln t of the failures.
Result<Weibull> fit_weibull(std::span<const Life> lives, double confidence = 0.95);

/// Share that has failed by then: 1 - S(hours). 0 for hours up to zero.
double failed_by(const Weibull& weibull, double hours);

}  // namespace steadyglow::reliability
