#include "drivers/modbus/decode.hpp"

#include <bit>
#include <cassert>
#include <cmath>

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::uint16_t swapped(std::uint16_t word) { return static_cast<std::uint16_t>((word << 8) | (word >> 8)); }

std::uint32_t joined(WordOrder order, std::uint16_t first, std::uint16_t second) {
  const bool is_low_word_first = order == WordOrder::cdab || order == WordOrder::dcba;
  const bool is_byte_swapped = order == WordOrder::badc || order == WordOrder::dcba;
  std::uint16_t high = is_low_word_first ? second : first;
  std::uint16_t low = is_low_word_first ? first : second;
  if (is_byte_swapped) {
    high = swapped(high);
    low = swapped(low);
  }
  return (static_cast<std::uint32_t>(high) << 16) | low;
}

}  // namespace

double decode_raw(Type type, WordOrder order, std::span<const std::uint16_t> registers) {
  assert(registers.size() >= width(type));
  switch (type) {
    case Type::bit: return registers[0] != 0 ? 1.0 : 0.0;
    case Type::int16: return std::bit_cast<std::int16_t>(registers[0]);
    case Type::uint16: return registers[0];
    case Type::int32: return std::bit_cast<std::int32_t>(joined(order, registers[0], registers[1]));
    case Type::uint32: return joined(order, registers[0], registers[1]);
    case Type::float32: break;
  }
  return static_cast<double>(std::bit_cast<float>(joined(order, registers[0], registers[1])));
}

}  // namespace steadyglow::drivers::modbus
