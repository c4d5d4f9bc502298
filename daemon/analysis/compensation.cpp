#include "analysis/compensation.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::analysis {

using profile::Role;

Expectation expect(Role role, Quantity quantity) {
  if (quantity == Quantity::temperature) {
    switch (role) {
      case Role::transformer: return {2.0, 0.0, 70.0, 0.0, false};
      case Role::heatsink: return {1.5, 0.0, 30.0, 0.0, false};
      case Role::motor: return {1.0, 0.0, 40.0, 0.0, false};
      case Role::ambient: return {0.0, 0.0, 0.0, 0.0, false};
      default: return {1.5, 0.0, 40.0, 0.0, false};
    }
  }
  switch (role) {
    case Role::bias: return {1.3, 0.6, 0.0, 0.005, true};
    case Role::grid_bias: return {0.9, 0.4, 0.0, 0.001, true};
    case Role::supply: return {0.7, 0.5, 0.0, 0.001, true};
    case Role::heater: return {0.9, 0.3, 0.0, 0.001, true};
    case Role::supply_current: return {1.0, 0.6, 0.0, 0.003, true};
    case Role::mains_power: return {1.5, 0.6, 0.0, 0.003, true};
    case Role::mains_current: return {0.5, 0.6, 0.0, 0.003, true};
    case Role::offset: return {0.0, 0.0, 0.0, 2.0, false};
    case Role::level: return {0.0, 0.3, 0.0, 0.001, true};
    case Role::speed: return {0.0, 0.1, 0.0, 0.0005, true};
    default: return {0.0, 0.3, 0.0, 0.003, true};
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
      is_fixed_(expectation.mains_exponent_sd <= 0.0) {}

void MainsExponent::learn(std::int64_t minute, double ln_value, double ln_mains) {
  if (is_fixed_) return;
  const Pair now{minute, ln_value, ln_mains};
  if (filled_ > 0 && minute - before_[0].minute > 1) filled_ = 0;  // a gap: neighbours only
  if (filled_ == distance) {
    const Pair& then = before_[distance - 1];
    const double dx = now.ln_mains - then.ln_mains;
    const double dy = now.ln_value - then.ln_value;
    constexpr double clip_sigmas = 4.0;
    const double residual = std::clamp(dy - estimate_ * dx, -clip_sigmas * noise_, clip_sigmas * noise_);
    const double clipped_dy = estimate_ * dx + residual;
    const double precision = 1.0 / (noise_ * noise_);
    // Overlapping differences count once in `distance`.
    weight_sum_ += precision * dx * dx / static_cast<double>(distance);
    product_sum_ += precision * dx * clipped_dy / static_cast<double>(distance);
    constexpr double noise_memory = 0.02;
    constexpr double noise_floor = 2e-4;
    noise_ = std::max(noise_floor, (1.0 - noise_memory) * noise_ + noise_memory * 1.25 * std::fabs(residual));
    estimate_ = product_sum_ / weight_sum_;
  }
  for (std::size_t i = distance - 1; i > 0; --i) before_[i] = before_[i - 1];
  before_[0] = now;
  filled_ = std::min(filled_ + 1, distance);
}

double compensated(const SeriesMinute& minute, const Expectation& expectation, double mains_exponent, bool is_temperature) {
  if (is_temperature) return (minute.raw - minute.room) * std::exp(-expectation.mains_exponent * minute.ln_mains);
  if (!expectation.is_relative) return minute.raw;
  return minute.raw * std::exp(-mains_exponent * minute.ln_mains);
}

}  // namespace steadyglow::analysis
