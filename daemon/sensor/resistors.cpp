#include "sensor/resistors.hpp"

#include <fmt/format.h>

#include <cmath>

namespace steadyglow::sensor {
namespace {

/// Temperature, below zero, at which the metal's resistance would vanish if its line went on (sign turned).
constexpr double copper_k = 234.5;
constexpr double aluminium_k = 225.0;

Result<void> check(Ohms resistance, const char* what) {
  if (resistance.value > 0.0) return {};
  return fail(Fault::bad_data, fmt::format("{} of {} ohm", what, resistance.value), "a resistance is above zero: measure it in place");
}

}  // namespace

Ohms loaded_lower_arm(const Divider& divider) {
  return {1.0 / (1.0 / divider.lower.value + 1.0 / divider.meter_input.value)};
}

Result<double> divider_factor(const Divider& divider) {
  if (auto good = check(divider.upper, "an upper arm"); !good) return tl::unexpected(good.error());
  if (auto good = check(divider.lower, "a lower arm"); !good) return tl::unexpected(good.error());
  if (auto good = check(divider.meter_input, "a meter input"); !good) return tl::unexpected(good.error());
  return 1.0 + divider.upper / loaded_lower_arm(divider);
}

Result<Volts> divider_input(const Divider& divider, Volts at_meter) {
  return divider_factor(divider).map([&](double factor) { return at_meter * factor; });
}

Result<Volts> divider_output(const Divider& divider, Volts at_top) {
  return divider_factor(divider).map([&](double factor) { return at_top / factor; });
}

Result<Amperes> shunt_current(Volts drop, Ohms measured) {
  if (auto good = check(measured, "a sense resistor"); !good) return tl::unexpected(good.error());
  return drop / measured;
}

Result<CelsiusDelta> winding_rise(WindingMetal metal, WindingReading cold, WindingReading hot) {
  if (auto good = check(cold.resistance, "a cold winding"); !good) return tl::unexpected(good.error());
  if (auto good = check(hot.resistance, "a hot winding"); !good) return tl::unexpected(good.error());
  const double k = metal == WindingMetal::copper ? copper_k : aluminium_k;
  const double growth = (hot.resistance - cold.resistance) / cold.resistance;
  return CelsiusDelta{growth * (k + cold.room.value)} - (hot.room - cold.room);
}

Result<Celsius> winding_temperature(WindingMetal metal, WindingReading cold, WindingReading hot) {
  return winding_rise(metal, cold, hot).map([&](CelsiusDelta rise) { return hot.room + rise; });
}

}  // namespace steadyglow::sensor
