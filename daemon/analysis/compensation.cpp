#include "analysis/compensation.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::analysis {

using profile::Role;

Expectation expect(Role role, Quantity quantity) {
  if (quantity == Quantity::temperature) {
    switch (role) {
      case Role::transformer: return {2.0, 1.0, false, 70.0, 0.0, false};
      case Role::heatsink: return {1.5, 1.0, false, 30.0, 0.0, false};
      case Role::motor: return {1.0, 1.0, false, 40.0, 0.0, false};
      case Role::ambient: return {0.0, 0.0, false, 0.0, 0.0, false};
      default: return {1.5, 1.0, false, 40.0, 0.0, false};
    }
  }
  switch (role) {
    case Role::bias: return {1.3, 0.6, true, 0.0, 0.005, true};
    case Role::grid_bias: return {0.9, 0.4, true, 0.0, 0.001, true};
    case Role::supply: return {0.7, 0.5, true, 0.0, 0.001, true};
    case Role::heater: return {0.9, 0.3, true, 0.0, 0.001, true};
    case Role::supply_current: return {1.0, 0.6, true, 0.0, 0.003, true};
    case Role::mains_power: return {1.5, 0.6, true, 0.0, 0.003, true};
    case Role::mains_current: return {0.5, 0.6, true, 0.0, 0.003, true};
    case Role::offset: return {0.0, 0.0, false, 0.0, 2.0, false};
    case Role::level: return {0.0, 0.3, true, 0.0, 0.001, true};
    case Role::speed: return {0.0, 0.1, true, 0.0, 0.0005, true};
    default: return {0.0, 0.3, true, 0.0, 0.003, true};
  }
}

double Lag::step(std::int64_t minute, double input) {
  if (!value_ || tau_ <= 0.0) {
    value_ = input;
  } else {
    const double passed = static_cast<double>(std::max<std::int64_t>(0, minute - last_));
    *value_ += (input - *value_) * (1.0 - std::exp(-passed / tau_));
  }
  last_ = minute;
  return *value_;
}

MainsExponent::MainsExponent(const Expectation& expectation)
    : prior_(expectation.mains_exponent),
      weight_sum_(expectation.mains_exponent_sd > 0.0 ? 1.0 / (expectation.mains_exponent_sd * expectation.mains_exponent_sd) : 1.0),
      product_sum_(weight_sum_ * prior_),
      estimate_(prior_),
      is_fixed_(!expectation.is_exponent_learned) {}

void MainsExponent::learn(std::int64_t minute, double ln_value, double ln_mains) {
  if (is_fixed_) return;
  const Pair now{minute, ln_value, ln_mains};
  if (filled_ > 0 && minute - before_[0].minute > 1) filled_ = 0;  // a gap: neighbours only
  if (filled_ == distance) {
    const Pair& then = before_[distance - 1];
    const double dx = now.ln_mains - then.ln_mains;
    const double dy = now.ln_value - then.ln_value;
    const double residual = dy - estimate_ * dx;
    constexpr double noise_memory = 0.02;
    constexpr double noise_floor = 2e-4;
    constexpr double noise_clip = 4.0;
    if (std::fabs(dx) > mains_step_min) {
      // Weighed round the estimate in force, in both sums alike: clipping the residual alone would throw away just the
      // large steps of the mains that carry the information.
      const double weight = std::min(1.0, noise_clip * noise_ / std::max(std::fabs(residual), 1e-12));
      const double precision = weight / (noise_ * noise_) / static_cast<double>(distance);  // overlapping differences count once
      weight_sum_ += precision * dx * dx;
      product_sum_ += precision * dx * dy;
    }
    const double clipped = std::min(std::fabs(residual), noise_clip * noise_);
    noise_ = std::max(noise_floor, (1.0 - noise_memory) * noise_ + noise_memory * 1.25 * clipped);
    estimate_ = product_sum_ / weight_sum_;
  }
  for (std::size_t i = distance - 1; i > 0; --i) before_[i] = before_[i - 1];
  before_[0] = now;
  filled_ = std::min(filled_ + 1, distance);
}

double MainsExponent::sd() const { return std::max(sd_min, 1.0 / std::sqrt(weight_sum_)); }

double compensated(const SeriesMinute& minute, const Expectation& expectation, double mains_exponent, bool is_temperature) {
  if (is_temperature) return (minute.raw - minute.room) * std::exp(-expectation.mains_exponent * minute.ln_mains);
  if (!expectation.is_relative) return minute.raw;
  return minute.raw * std::exp(-mains_exponent * minute.ln_mains);
}

}  // namespace steadyglow::analysis
