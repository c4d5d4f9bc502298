#pragma once
/// A meter for tests of the Modbus bus: registers that read address + level.
#include <string>
#include <vector>

#include "drivers/modbus/instrument.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::tests {

inline drivers::modbus::Channel input_register(std::uint16_t address) {
  drivers::modbus::Channel channel;
  channel.name = "r" + std::to_string(address);
  channel.table = drivers::modbus::RegisterTable::input;
  channel.address = address;
  channel.type = drivers::modbus::Type::uint16;
  channel.uom = "V";
  return channel;
}

inline drivers::modbus::MeterSetup meter_with(std::vector<std::uint16_t> addresses, std::uint8_t unit = 1) {
  drivers::modbus::MeterSetup setup;
  setup.name = "meter_" + std::to_string(unit);
  setup.unit = unit;
  for (const std::uint16_t address : addresses) setup.instrument.channels.push_back(input_register(address));
  return setup;
}

inline drivers::modbus::MeterSetup relays(std::uint8_t unit = 1) {
  drivers::modbus::MeterSetup setup;
  setup.name = "relays";
  setup.unit = unit;
  setup.instrument.outputs = {{"outlet_1", 0}, {"outlet_2", 1}};
  return setup;
}

}  // namespace steadyglow::tests
