#pragma once
/// Turns what a sensor gives into the quantity that it measures: here plain resistors, as dividers, shunts and windings.
#include <cstdint>

#include "core/result.hpp"
#include "core/units.hpp"

namespace steadyglow::sensor {

/// A divider with the meter that hangs on its lower arm. The meter's own resistance belongs to it: 4 Mohm over 33.2 kohm
/// divides by 121.5 alone and by 161.5 into a 100 kohm module, which then reads a quarter low.
struct Divider {
  Ohms upper;
  Ohms lower;
  Ohms meter_input;  ///< of the meter; infinity when it draws nothing
};
/// The resistance of the lower arm with the meter on it.
Ohms loaded_lower_arm(const Divider& divider);
/// What the volts at the meter are multiplied with to get the volts at the top: 1 + upper / (lower || meter). Fails on a
/// resistance that is not above zero.
[[nodiscard]] Result<double> divider_factor(const Divider& divider);
[[nodiscard]] Result<Volts> divider_input(const Divider& divider, Volts at_meter);
[[nodiscard]] Result<Volts> divider_output(const Divider& divider, Volts at_top);

/// I = V / R with the measured resistance: the tolerance on the body of a sense resistor (5 to 10 %) would be the
/// largest error of the whole chain. Fails on a resistance that is not above zero.
[[nodiscard]] Result<Amperes> shunt_current(Volts drop, Ohms measured);

/// What a winding is made of decides how its resistance grows.
enum class WindingMetal : std::uint8_t { copper, aluminium };
struct WindingReading {
  Ohms resistance;
  Celsius room;  ///< the room's temperature at the same moment
};
/// Mean temperature rise of a winding over the room, from its resistance cold (and at room temperature throughout) and
/// hot: (R2 - R1)/R1 (k + t1) - (t2 - t1), k 234.5 for copper and 225 for aluminium.
/// Source: the rise-by-resistance formula of IEC 60335-1 clause 11 and IEC 60034-1 (from memory). Measure within seconds of
/// switching off, with the winding disconnected from the mains and discharged. The hottest spot is warmer than this mean.
[[nodiscard]] Result<CelsiusDelta> winding_rise(WindingMetal metal, WindingReading cold, WindingReading hot);
/// The winding's own mean temperature when hot: its rise on top of the room.
[[nodiscard]] Result<Celsius> winding_temperature(WindingMetal metal, WindingReading cold, WindingReading hot);

}  // namespace steadyglow::sensor
