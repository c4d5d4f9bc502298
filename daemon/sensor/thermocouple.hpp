#pragma once
/// Turns what a sensor gives into the quantity that it measures: here thermocouples, after ITS-90.
///
/// A thermocouple tells a difference: to the temperature of the terminals, where its wires end, belongs a voltage of
/// its own, and voltages add up where temperatures do not (the law of intermediate temperatures). So the terminals'
/// temperature is turned into millivolts first, added, and only the sum is turned back.
#include <array>
#include <cstdint>
#include <optional>

#include "core/result.hpp"
#include "core/units.hpp"

namespace steadyglow::sensor {

using Millivolts = Scalar<struct MillivoltsTag>;

/// The letters of IEC 60584-1.
enum class ThermocoupleType : std::uint8_t { b, e, j, k, n, r, s, t };
inline constexpr std::array<ThermocoupleType, 8> thermocouple_types{
    ThermocoupleType::b, ThermocoupleType::e, ThermocoupleType::j, ThermocoupleType::k,
    ThermocoupleType::n, ThermocoupleType::r, ThermocoupleType::s, ThermocoupleType::t};

char letter_of(ThermocoupleType type);
/// Takes both cases; nothing for any other letter.
std::optional<ThermocoupleType> thermocouple_type_from(char letter);

/// Where a type is defined, and where its voltage can be turned back into one temperature: the two differ for B,
/// which gives the same microvolts twice below 42 degC and next to none below 250.
struct ThermocoupleRange {
  Celsius emf_low;
  Celsius high;
  Celsius inverse_low;
};
ThermocoupleRange thermocouple_range(ThermocoupleType type);

/// E(t), reference junction at 0 degC. Fails outside the range of the type.
/// Source: NIST ITS-90 Thermocouple Database (SRD 60); see its90.hpp.
[[nodiscard]] Result<Millivolts> thermocouple_emf(ThermocoupleType type, Celsius temperature);

/// dE/dt in millivolts per kelvin. Fails outside the range of the type.
[[nodiscard]] Result<double> thermocouple_sensitivity(ThermocoupleType type, Celsius temperature);

/// t(E), reference junction at 0 degC: the published inverse polynomial, refined by Newton's method on the reference
/// function to less than a millionth of a kelvin. Voltages within half a microvolt of a border count as the border (the tables
/// print no finer). Fails beyond.
[[nodiscard]] Result<Celsius> thermocouple_temperature(ThermocoupleType type, Millivolts emf);

/// The temperature at the tip, from the millivolts at the terminals and the temperature of these terminals.
[[nodiscard]] Result<Celsius> thermocouple_tip(ThermocoupleType type, Millivolts at_terminals, Celsius terminals);

}  // namespace steadyglow::sensor
