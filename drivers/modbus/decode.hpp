#pragma once
/// From registers to a value with a quality. Our own, because the float functions of the common library disagree
/// with each other from release to release.
#include <cstdint>
#include <span>

#include "drivers/driver.hpp"
#include "drivers/modbus/instrument.hpp"

namespace steadyglow::drivers::modbus {

/// The raw number in one or two registers, in address order. Exact: a double holds every 32-bit integer and every float32.
/// Source: IEEE 754 binary32; two's complement for the signed types.
double decode_raw(Type type, WordOrder order, std::span<const std::uint16_t> registers);

}  // namespace steadyglow::drivers::modbus
