#pragma once
/// What a count of failures allows to say, even when there were none: bounds on the MTBF and on the share of bad units.
#include <cstddef>
#include <optional>

#include "reliability/life.hpp"

namespace steadyglow::reliability {

/// Units together, each stopped at a planned time or replaced (time-terminated).
struct Exposure {
  std::size_t units = 0;
  double hours = 0.0;  ///< of all units together
  std::size_t failures = 0;
};

/// Mean time between failures, in hours, were the failure rate constant. Where fit_weibull finds a shape whose interval leaves 1 out, the
/// rate is not constant and this figure misleads.
struct Mtbf {
  std::optional<double> likely_hours;  ///< absent without a failure
  double low_hours = 0.0;
  std::optional<double> high_hours;    ///< absent without a failure: then low_hours is the one-sided bound
};

/// Two-sided: 2T / chi2(1 - a/2; 2r + 2) to 2T / chi2(a/2; 2r); without a failure the one-sided T / -ln(1 - confidence).
/// Fails with Fault::bad_data for a single unit (one unit has a life, not a mean of lives), for hours not above zero, and for a
/// confidence outside 0 to 1. Source: NIST/SEMATECH e-Handbook 8.4.5.1.
Result<Mtbf> mtbf_interval(const Exposure& exposure, double confidence = 0.9);

/// One-sided: the MTBF is at least 2T / chi2(confidence; 2r + 2) hours. Fails as mtbf_interval does; same source.
Result<double> mtbf_at_least(const Exposure& exposure, double confidence = 0.9);

/// Share of bad units, 0 to 1, exact two-sided binomial interval (Clopper and Pearson 1934, Biometrika 26).
/// Fails with Fault::bad_data for no units or more bad ones than units.
Result<Interval> bad_share(std::size_t bad, std::size_t units, double confidence = 0.95);

/// One-sided: at most this share is bad. Without a bad one it is 1 - (1 - confidence)^(1/units). Fails as bad_share does.
Result<double> bad_share_at_most(std::size_t bad, std::size_t units, double confidence = 0.95);

/// The same at 95 % without a bad one, in the head: 3 / units, at most 1 (rule of three: Hanley and Lippman-Hand 1983, JAMA 249).
double rule_of_three(std::size_t units);

/// Units that must all pass to show this share of good ones: ln(1 - confidence) / ln(good_share), rounded up (success run).
/// Fails with Fault::bad_data unless both lie between 0 and 1.
Result<std::size_t> units_to_show(double good_share, double confidence);

}  // namespace steadyglow::reliability
