#include "reliability/weibull.hpp"

#include <algorithm>
#include <cmath>
#include <string>

namespace steadyglow::reliability {
namespace {

/// Sums over all units at one shape; hours in units of the longest life, so that no power overflows.
struct Sums {
  double powers = 0.0;       // t^k
  double powers_log = 0.0;   // t^k ln t
};

class Likelihood {
 public:
  explicit Likelihood(std::span<const Life> lives) : lives_(lives) {
    for (const Life& life : lives) longest_ = std::max(longest_, life.hours);
    for (const Life& life : lives) {
      if (!life.has_failed) continue;
      ++failures_;
      mean_log_ += std::log(life.hours / longest_);
    }
    mean_log_ /= static_cast<double>(failures_);
  }
  double longest() const { return longest_; }
  Sums sums(double shape) const {
    Sums sums;
    for (const Life& life : lives_) {
      const double ln = std::log(life.hours / longest_);
      const double power = std::exp(shape * ln);
      sums.powers += power;
      sums.powers_log += power * ln;
    }
    return sums;
  }
  /// Rises with the shape; zero at the likeliest one.
  double slope(double shape) const {
    const Sums at = sums(shape);
    return at.powers_log / at.powers - 1.0 / shape - mean_log_;
  }

 private:
  std::span<const Life> lives_;
  double longest_ = 0.0;
  double mean_log_ = 0.0;
  std::size_t failures_ = 0;
};

constexpr double shape_min = 1e-3;
constexpr double shape_max = 1e3;
constexpr int halvings = 200;  ///< more than the bits of a double between the two

double likeliest_shape(const Likelihood& likelihood) {
  double low = shape_min;
  double high = shape_max;
  for (int i = 0; i < halvings && high > low; ++i) {
    const double middle = 0.5 * (low + high);
    if (middle == low || middle == high) break;
    (likelihood.slope(middle) < 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

/// Log-likelihood and the inverse of the observed information, in ln scale and ln shape.
void weigh(Weibull& fit, std::span<const Life> lives) {
  const double k = fit.shape;
  double w_sum = 0.0;
  double wz = 0.0;
  double shape_shape = 0.0;
  for (const Life& life : lives) {
    const double z = k * std::log(life.hours / fit.scale_hours);
    const double w = std::exp(z);
    w_sum += w;
    wz += w * z;
    shape_shape += w * z * z + w * z;
    fit.log_likelihood -= w;
    if (!life.has_failed) continue;
    fit.log_likelihood += std::log(k / life.hours) + z;
    shape_shape -= z;
  }
  const double scale_scale = k * k * w_sum;
  const double scale_shape = -k * wz;
  const double determinant = scale_scale * shape_shape - scale_shape * scale_shape;
  fit.log_scale_error = std::sqrt(shape_shape / determinant);
  fit.log_shape_error = std::sqrt(scale_scale / determinant);
  fit.covariance = -scale_shape / determinant;
}

Interval around(double value, double log_error, double width) { return {value * std::exp(-width * log_error), value * std::exp(width * log_error)}; }

}  // namespace

Result<Weibull> fit_weibull(std::span<const Life> lives, double confidence) {
  if (auto checked = check(lives, confidence); !checked) return tl::unexpected<Error>(checked.error());
  Weibull fit;
  fit.units = lives.size();
  fit.failures = count_failures(lives);
  if (fit.failures < weibull_failures_min)
    return fail(Fault::bad_data, std::to_string(fit.failures) + " failures do not show a shape",
                "a Weibull fit needs " + std::to_string(weibull_failures_min) + " failures, better " + std::to_string(weibull_failures_good) + "; until then read the survival curve");
  const Likelihood likelihood(lives);
  if (likelihood.slope(shape_max) <= 0.0) return fail(Fault::bad_data, "all failures came at the same hours", "a common cause, not a distribution of lives: look for it");
  fit.shape = likeliest_shape(likelihood);
  fit.scale_hours = likelihood.longest() * std::pow(likelihood.sums(fit.shape).powers / static_cast<double>(fit.failures), 1.0 / fit.shape);
  fit.is_guess = fit.failures < weibull_failures_good;
  weigh(fit, lives);
  const double width = normal_width(confidence);
  fit.shape_interval = around(fit.shape, fit.log_shape_error, width);
  fit.scale_interval = around(fit.scale_hours, fit.log_scale_error, width);
  return fit;
}

double failed_by(const Weibull& weibull, double hours) {
  return hours > 0.0 ? -std::expm1(-std::pow(hours / weibull.scale_hours, weibull.shape)) : 0.0;
}

}  // namespace steadyglow::reliability
