#pragma once
/// Turns what a sensor gives into the quantity that it measures: here industrial platinum resistors (Pt100, Pt1000).
#include <cstdint>

#include "core/result.hpp"
#include "core/units.hpp"

namespace steadyglow::sensor {

/// What a platinum resistor has at 0 degC.
inline constexpr Ohms pt100{100.0};
inline constexpr Ohms pt1000{1000.0};

inline constexpr Celsius platinum_low{-200.0};
inline constexpr Celsius platinum_high{850.0};

/// Tolerance classes of IEC 60751:2008 (C from memory).
enum class PlatinumClass : std::uint8_t { aa, a, b, c };

/// R(t) = R0 (1 + A t + B t^2 + C (t - 100) t^3), C only below 0 degC. Fails outside -200...850 degC.
/// Source: IEC 60751:2008, A 3.9083e-3, B -5.775e-7, C -4.183e-12.
[[nodiscard]] Result<Ohms> platinum_resistance(Ohms at_zero, Celsius temperature);

/// t(R): the quadratic solved at 0 degC and above, Newton's method on R(t) below. Values within half a digit of the printed table
/// (0.005 % of R0) beyond a border count as the border.
[[nodiscard]] Result<Celsius> platinum_temperature(Ohms at_zero, Ohms resistance);

/// dR/dt in ohm per kelvin, from the same functions.
double platinum_sensitivity(Ohms at_zero, Celsius temperature);

/// What a sensor of a class may be off at a temperature, either way: AA 0.1 + 0.0017|t|, A 0.15 + 0.002|t|,
/// B 0.3 + 0.005|t|, C 0.6 + 0.01|t|, in kelvin. Source: IEC 60751:2008 (C from memory).
CelsiusDelta platinum_tolerance(PlatinumClass tolerance_class, Celsius temperature);

}  // namespace steadyglow::sensor
