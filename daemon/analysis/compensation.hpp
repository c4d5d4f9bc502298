#pragma once
/// What a reading would have been at nominal mains and in an unchanged room. For judging trends; trips judge the raw value.
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "analysis/series.hpp"
#include "profile/profile.hpp"

namespace steadyglow::analysis {

/// What physics lets one expect of a role before the unit has shown anything.
struct Expectation {
  double mains_exponent = 0.0;     ///< y ~ V^k; for a temperature: of its rise over the room
  double mains_exponent_sd = 0.0;  ///< how unsure that is
  bool is_exponent_learned = true; ///< from the night itself; false: the expectation stands
  double lag_minutes = 0.0;        ///< first-order lag with which the point feels mains and room
  double per_kelvin = 0.0;         ///< allowance for the room, relative per kelvin (offsets: uom per kelvin); never learned here
  bool is_relative = true;         ///< judged in percent of its level; false: in its uom (offsets, temperatures)
};

/// Exponents: child of the three-halves law for a tube whose bias and B+ come from the same mains (1.5), proportional
/// for B+ and heater, square for watts; from memory and common practice, no source.
Expectation expect(profile::Role role, Quantity quantity);

/// Follows a slow input through a first-order lag, minute by minute.
class Lag {
 public:
  explicit Lag(double tau_minutes) : tau_(tau_minutes) {}
  double step(std::int64_t minute, double input);
  std::optional<double> value() const { return value_; }
  void clear() { value_.reset(); }

 private:
  double tau_;
  std::int64_t last_ = 0;
  std::optional<double> value_;
};

/// Learns the exponent from the point's own night: differences over three minutes (too short for a drift to be taken
/// for a mains effect), a ridge towards the expectation, wild ones weighed down round the estimate in force.
class MainsExponent {
 public:
  /// Smaller movements of the mains are as much the meter's noise as the mains, and noise in the cause looks like no effect.
  static constexpr double mains_step_min = 0.003;
  static constexpr double sd_min = 0.05;
  explicit MainsExponent(const Expectation& expectation);
  /// Takes a minute of ln|y| and ln(V / V nominal).
  void learn(std::int64_t minute, double ln_value, double ln_mains);
  double value() const { return estimate_; }
  /// Standard deviation of the estimate, as far as the night has told; never less than sd_min.
  double sd() const;
  void forget_neighbours() { filled_ = 0; }

 private:
  static constexpr std::size_t distance = 3;
  struct Pair {
    std::int64_t minute;
    double ln_value;
    double ln_mains;
  };
  std::array<Pair, distance> before_{};
  std::size_t filled_ = 0;
  double prior_;
  double weight_sum_;   ///< precision: prior first
  double product_sum_;
  double noise_ = 0.005;  ///< running scale of a difference's residual, relative
  double estimate_;
  bool is_fixed_;
};

/// The value of a minute at nominal mains and (temperatures) as a rise over the room.
double compensated(const SeriesMinute& minute, const Expectation& expectation, double mains_exponent, bool is_temperature);

}  // namespace steadyglow::analysis
