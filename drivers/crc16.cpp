#include "drivers/crc16.hpp"

namespace steadyglow::drivers {

std::uint16_t crc16_modbus(std::span<const std::uint8_t> bytes) {
  constexpr std::uint16_t begin = 0xFFFF, polynomial = 0xA001;
  std::uint16_t check = begin;
  for (const std::uint8_t byte : bytes) {
    check = static_cast<std::uint16_t>(check ^ byte);
    for (int bit = 0; bit < 8; ++bit) check = static_cast<std::uint16_t>((check & 1U) != 0 ? (check >> 1U) ^ polynomial : check >> 1U);
  }
  return check;
}

}  // namespace steadyglow::drivers
