#include "reliability/soak_yield.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "core/decimal.hpp"
#include "reliability/bounds.hpp"
#include "reliability/survival.hpp"
#include "reliability/weibull.hpp"

namespace steadyglow::reliability {
namespace {

double cumulative_hazard(double log_shape, double log_scale, double hours) {
  return hours > 0.0 ? std::exp(std::exp(log_shape) * (std::log(hours) - log_scale)) : 0.0;
}

/// ln of the share of running units that fails between the two, as the interval needs it.
double log_share(double log_shape, double log_scale, double from, double to) {
  return std::log(-std::expm1(cumulative_hazard(log_shape, log_scale, from) - cumulative_hazard(log_shape, log_scale, to)));
}

void by_curve(SoakYield& yield, const Weibull& fit, double confidence) {
  const double q = std::log(fit.shape);
  const double m = std::log(fit.scale_hours);
  const auto share = [&](double shape, double scale) { return log_share(shape, scale, yield.from_hours, yield.to_hours); };
  constexpr double step = 1e-5;
  const double along_shape = (share(q + step, m) - share(q - step, m)) / (2.0 * step);
  const double along_scale = (share(q, m + step) - share(q, m - step)) / (2.0 * step);
  const double variance = along_shape * along_shape * fit.log_shape_error * fit.log_shape_error +
                          along_scale * along_scale * fit.log_scale_error * fit.log_scale_error + 2.0 * along_shape * along_scale * fit.covariance;
  const double width = normal_width(confidence) * std::sqrt(std::max(0.0, variance));
  const double middle = share(q, m);
  yield.of_running = std::exp(middle);
  yield.of_running_interval = {std::exp(middle - width), std::min(1.0, std::exp(middle + width))};
  yield.of_started = failed_by(fit, yield.to_hours) - failed_by(fit, yield.from_hours);
  yield.is_by_curve = true;
  yield.is_guess = fit.is_guess;
}

Result<void> by_count(SoakYield& yield, std::span<const Life> lives, double confidence) {
  std::vector<Life> running;
  std::size_t to_the_end = 0;
  for (const Life& life : lives) {
    if (life.hours <= yield.from_hours) continue;
    running.push_back({life.hours - yield.from_hours, life.has_failed});
    to_the_end += life.hours >= yield.to_hours ? 1 : 0;
  }
  if (to_the_end == 0)
    return fail(Fault::bad_data, "no unit has run " + to_decimal(yield.to_hours) + " h yet", "with too few failures for a curve only hours that were run can be counted");
  const auto started = kaplan_meier(lives, confidence);
  const auto later = kaplan_meier(running, confidence);
  if (!started) return tl::unexpected<Error>(started.error());
  if (!later) return tl::unexpected<Error>(later.error());
  const SurvivalStep end = survival_at(*later, yield.to_hours - yield.from_hours);
  yield.of_running = 1.0 - end.survival;
  yield.of_started = survival_at(*started, yield.from_hours).survival * yield.of_running;
  yield.of_running_interval = {1.0 - end.band.high, 1.0 - end.band.low};
  if (yield.of_running == 0.0) yield.of_running_interval = {0.0, bad_share_at_most(0, to_the_end, confidence).value()};
  return {};
}

}  // namespace

Result<SoakYield> soak_yield(std::span<const Life> lives, double from_hours, double to_hours, double confidence) {
  if (auto checked = check(lives, confidence); !checked) return tl::unexpected<Error>(checked.error());
  if (!(from_hours >= 0.0) || !(to_hours > from_hours) || !std::isfinite(to_hours))
    return fail(Fault::bad_data, "from " + to_decimal(from_hours) + " h to " + to_decimal(to_hours) + " h is no stretch of a soak", "it starts at zero or later and ends after that");
  SoakYield yield;
  yield.from_hours = from_hours;
  yield.to_hours = to_hours;
  const double longest = std::max_element(lives.begin(), lives.end(), [](const Life& a, const Life& b) { return a.hours < b.hours; })->hours;
  yield.is_extrapolated = to_hours > longest;
  if (const auto fit = fit_weibull(lives, confidence)) {
    by_curve(yield, *fit, confidence);
    return yield;
  }
  if (auto counted = by_count(yield, lives, confidence); !counted) return tl::unexpected<Error>(counted.error());
  return yield;
}

}  // namespace steadyglow::reliability
