#pragma once
/// Is it worth soaking longer: how many more weak units the next hours would find.
#include <span>

#include "reliability/life.hpp"

namespace steadyglow::reliability {

inline constexpr double next_hours = 12.0;  ///< the step in which a shop lengthens a soak

struct SoakYield {
  double from_hours = 0.0;
  double to_hours = 0.0;
  double of_started = 0.0;  ///< share of all units that started which fails between the two
  double of_running = 0.0;  ///< share of those still running at from_hours
  Interval of_running_interval;
  bool is_by_curve = false;      ///< from a Weibull fit; else counted, with no curve assumed
  bool is_guess = false;         ///< the fit stands on few failures
  bool is_extrapolated = false;  ///< beyond the longest life seen
};

/// By fit_weibull where it answers (interval by the delta method on the logarithm of the share), else counted by Kaplan-Meier over the
/// units that ran past `from` (interval log-log; without a failure there from 0 to the exact one-sided bound).
/// Fails with Fault::bad_data as check() does, when `from` is below zero or `to` is not beyond it, and, without a fit, when no unit ran to
/// `to`: what was never seen is then not guessed.
Result<SoakYield> soak_yield(std::span<const Life> lives, double from_hours, double to_hours, double confidence = 0.95);

/// The next twelve hours.
inline Result<SoakYield> yield_of_next_hours(std::span<const Life> lives, double soaked_hours, double confidence = 0.95) {
  return soak_yield(lives, soaked_hours, soaked_hours + next_hours, confidence);
}

}  // namespace steadyglow::reliability
