#include "reliability/survival.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::reliability {

Result<SurvivalCurve> kaplan_meier(std::span<const Life> lives, double confidence) {
  if (auto checked = check(lives, confidence); !checked) return tl::unexpected<Error>(checked.error());
  std::vector<Life> sorted(lives.begin(), lives.end());
  std::sort(sorted.begin(), sorted.end(), [](const Life& a, const Life& b) { return a.hours < b.hours; });
  const double z = normal_width(confidence);

  SurvivalCurve curve;
  curve.units = sorted.size();
  curve.last_hours = sorted.back().hours;
  double survival = 1.0;
  double greenwood = 0.0;
  for (std::size_t i = 0; i < sorted.size();) {
    SurvivalStep step;
    step.hours = sorted[i].hours;
    step.at_risk = sorted.size() - i;
    for (; i < sorted.size() && sorted[i].hours == step.hours; ++i) step.failures += sorted[i].has_failed ? 1 : 0;
    if (step.failures == 0) continue;
    const double n = static_cast<double>(step.at_risk);
    const double d = static_cast<double>(step.failures);
    survival *= 1.0 - d / n;
    step.survival = survival;
    if (survival > 0.0) {
      greenwood += d / (n * (n - d));
      step.standard_error = survival * std::sqrt(greenwood);
      const double width = z * std::sqrt(greenwood) / -std::log(survival);
      step.band = {std::pow(survival, std::exp(width)), std::pow(survival, std::exp(-width))};
    } else {
      step.band = {0.0, curve.steps.empty() ? 1.0 : curve.steps.back().band.high};
    }
    curve.steps.push_back(step);
  }
  return curve;
}

SurvivalStep survival_at(const SurvivalCurve& curve, double hours) {
  SurvivalStep at{.hours = 0.0, .at_risk = curve.units, .failures = 0, .survival = 1.0, .standard_error = 0.0, .band = {1.0, 1.0}};
  for (const SurvivalStep& step : curve.steps)
    if (step.hours <= hours) at = step;
  return at;
}

}  // namespace steadyglow::reliability
