#pragma once
/// Turns what a sensor gives into the quantity that it measures: here NTC thermistors.
#include <array>

#include "core/result.hpp"
#include "core/units.hpp"

namespace steadyglow::sensor {

/// The two figures of a parts list: R(T) = R_ref exp(B (1/T - 1/T_ref)), temperatures in kelvin. Standard two-parameter
/// equation; good to about a kelvin over the 25...85 degC that B is usually stated for.
struct BetaThermistor {
  Ohms at_reference{10000.0};
  double beta_kelvin = 3950.0;
  Celsius reference{25.0};
};

/// 1/T = A + B ln R + C (ln R)^3, T in kelvin, R in ohm.
/// Source: Steinhart and Hart, Deep-Sea Research 15 (1968) 497 (from memory).
struct SteinhartHart {
  double a = 0.0;
  double b = 0.0;
  double c = 0.0;
};

struct ThermistorPoint {
  Ohms resistance;
  Celsius temperature;
};

/// A thermistor is believed between these: beyond them it is open, shorted or not one.
inline constexpr Celsius thermistor_low{-60.0};
inline constexpr Celsius thermistor_high{300.0};

[[nodiscard]] Result<Celsius> thermistor_temperature(const BetaThermistor& part, Ohms resistance);
[[nodiscard]] Result<Celsius> thermistor_temperature(const SteinhartHart& curve, Ohms resistance);
[[nodiscard]] Result<Ohms> thermistor_resistance(const BetaThermistor& part, Celsius temperature);
/// The real root of the cubic in ln R, in closed form; wants B and C above zero, as every NTC has them.
[[nodiscard]] Result<Ohms> thermistor_resistance(const SteinhartHart& curve, Celsius temperature);

/// dR/R per kelvin, in 1/K (negative): -B / T^2.
double thermistor_sensitivity(const BetaThermistor& part, Celsius temperature);

/// A, B and C through three measured points (Newton's divided differences in ln R). Fails when two points are the same or when no NTC
/// goes through them.
[[nodiscard]] Result<SteinhartHart> solve_steinhart_hart(const std::array<ThermistorPoint, 3>& points);

/// The thermistor in series with a known resistor across a supply. The supply must be measured too, or be the
/// converter's own reference: its error goes straight into the ohms.
struct ThermistorDivider {
  Volts supply{3.3};
  Ohms other{10000.0};
  bool is_thermistor_low_side = true;  ///< the volts are read across the thermistor; false: across the other resistor
};
/// Fails when the volts lie at or beyond the rails (open or shorted).
[[nodiscard]] Result<Ohms> thermistor_in_divider(const ThermistorDivider& divider, Volts read);

}  // namespace steadyglow::sensor
