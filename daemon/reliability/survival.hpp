#pragma once
/// The share of units still running after so many hours, with no curve assumed.
#include <cstddef>
#include <span>
#include <vector>

#include "reliability/life.hpp"

namespace steadyglow::reliability {

/// The curve drops here and stays until the next step.
struct SurvivalStep {
  double hours = 0.0;
  std::size_t at_risk = 0;   ///< running just before
  std::size_t failures = 0;  ///< at these hours
  double survival = 1.0;
  double standard_error = 0.0;  ///< of survival, by Greenwood's formula
  Interval band;             ///< log-log, inside 0 to 1; once nobody is left, from 0 to where the upper end stood before
};

struct SurvivalCurve {
  std::vector<SurvivalStep> steps;  ///< ascending; empty when nothing failed
  double last_hours = 0.0;          ///< the longest life seen: beyond it the curve says nothing
  std::size_t units = 0;
};

/// Kaplan-Meier: S = product over failure times of (1 - d / n). A unit censored at the hours of a failure counts as still running then.
/// var S = S^2 sum d / (n (n - d)) (Greenwood 1926); band S^exp(+-z se / (S ln S)), se of S (log-log: Kalbfleisch and Prentice 1980).
/// Fails with Fault::bad_data as check() does. Source: Kaplan and Meier 1958, JASA 53; NIST/SEMATECH e-Handbook 8.2.1.5.
Result<SurvivalCurve> kaplan_meier(std::span<const Life> lives, double confidence = 0.95);

/// The step in force at these hours; all running, band 1 to 1, before the first.
SurvivalStep survival_at(const SurvivalCurve& curve, double hours);

}  // namespace steadyglow::reliability
