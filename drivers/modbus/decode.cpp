#include "drivers/modbus/decode.hpp"

#include <bit>
#include <cassert>
#include <cmath>

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::uint16_t swapped(std::uint16_t word) { return static_cast<std::uint16_t>((word << 8) | (word >> 8)); }

/// The registers of one value as one number, the most significant register first.
std::uint64_t joined(WordOrder order, std::span<const std::uint16_t> registers) {
  const bool is_low_word_first = order == WordOrder::cdab || order == WordOrder::dcba;
  const bool is_byte_swapped = order == WordOrder::badc || order == WordOrder::dcba;
  std::uint64_t all = 0;
  for (std::size_t i = 0; i < registers.size(); ++i) {
    const std::uint16_t word = registers[is_low_word_first ? registers.size() - 1 - i : i];
    all = (all << 16) | (is_byte_swapped ? swapped(word) : word);
  }
  return all;
}

}  // namespace

double decode_raw(Type type, WordOrder order, std::span<const std::uint16_t> registers) {
  assert(registers.size() >= width(type));
  const std::uint64_t all = type == Type::bit ? 0 : joined(width(type) == 1 ? WordOrder::abcd : order, registers.first(width(type)));
  switch (type) {
    case Type::bit: return registers[0] != 0 ? 1.0 : 0.0;
    case Type::int16: return static_cast<std::int16_t>(all);
    case Type::uint16: return static_cast<double>(all);
    case Type::int32: return static_cast<std::int32_t>(all);
    case Type::uint32: return static_cast<double>(all);
    case Type::float32: return static_cast<double>(std::bit_cast<float>(static_cast<std::uint32_t>(all)));
    case Type::int64: return static_cast<double>(static_cast<std::int64_t>(all));
    case Type::uint64: return static_cast<double>(all);
    case Type::float64: break;
  }
  return std::bit_cast<double>(all);
}

}  // namespace steadyglow::drivers::modbus
