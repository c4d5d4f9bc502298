#pragma once
/// The check of a Modbus RTU frame, which small devices of other kinds put behind what they say, too.
#include <cstdint>
#include <span>

namespace steadyglow::drivers {

/// CRC-16 of MODBUS over Serial Line V1.02, section 6.2.2 and appendix B: begun with FFFF, polynomial 8005 with its bits in reverse.
/// Its low byte goes over the wire first.
std::uint16_t crc16_modbus(std::span<const std::uint8_t> bytes);

}  // namespace steadyglow::drivers
