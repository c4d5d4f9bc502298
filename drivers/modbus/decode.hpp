#pragma once
/// From registers to a value with a quality. Our own, because the float functions of the common library disagree
/// with each other from release to release.
#include <cstdint>
#include <span>

#include "drivers/driver.hpp"
#include "drivers/modbus/instrument.hpp"

namespace steadyglow::drivers::modbus {

/// The raw number in the registers of one value, in address order. Exact for up to 32 bits and for float64; a 64-bit integer beyond
/// 2^53 is rounded. Source: IEEE 754 binary32 and binary64; two's complement for the signed types.
double decode_raw(Type type, WordOrder order, std::span<const std::uint16_t> registers);

}  // namespace steadyglow::drivers::modbus
