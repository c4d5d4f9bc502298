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

/// Tolerance classes of IEC 60584-1:2013 (before: IEC 60584-2), for wire as delivered; it ages.
enum class ThermocoupleClass : std::uint8_t { one = 1, two = 2, three = 3 };

/// What a thermocouple of a class may be off at a temperature, either way, in kelvin: type K class 1 the greater of 1.5 and 0.004|t|,
/// class 2 the greater of 2.5 and 0.0075|t|. Nothing outside the span for which the class is defined, and for a class that a type has not.
/// Source: IEC 60584-2:1982 with its amendment 1:1989, as makers print its table.
std::optional<CelsiusDelta> thermocouple_tolerance(ThermocoupleType type, ThermocoupleClass tolerance_class, Celsius temperature);
/// Does the standard have this class for this type? B has no class 1; J, R and S have no class 3.
bool has_class(ThermocoupleType type, ThermocoupleClass tolerance_class);

}  // namespace steadyglow::sensor
