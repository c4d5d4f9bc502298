#include "drivers/lines/checksum.hpp"

#include <algorithm>
#include <array>

namespace steadyglow::drivers::lines {
namespace {

constexpr std::array<std::string_view, 3> words{"xor8", "sum8", "crc16_modbus"};

std::uint16_t crc16(std::string_view bytes) {
  constexpr std::uint16_t begin = 0xFFFF, polynomial = 0xA001;
  std::uint16_t crc = begin;
  for (const char byte : bytes) {
    crc = static_cast<std::uint16_t>(crc ^ static_cast<std::uint8_t>(byte));
    for (int bit = 0; bit < 8; ++bit) crc = static_cast<std::uint16_t>((crc & 1U) != 0 ? (crc >> 1U) ^ polynomial : crc >> 1U);
  }
  return crc;
}

}  // namespace

std::uint16_t reckon(Checksum kind, std::string_view bytes) {
  if (kind == Checksum::crc16_modbus) return crc16(bytes);
  std::uint8_t sum = 0;
  for (const char byte : bytes) {
    const auto b = static_cast<std::uint8_t>(byte);
    sum = static_cast<std::uint8_t>(kind == Checksum::xor8 ? sum ^ b : sum + b);
  }
  return sum;
}

std::vector<std::string_view> checksum_words() { return {words.begin(), words.end()}; }

std::optional<Checksum> checksum_from_word(std::string_view word) {
  const auto place = std::find(words.begin(), words.end(), word);
  if (place == words.end()) return std::nullopt;
  return static_cast<Checksum>(place - words.begin());
}

}  // namespace steadyglow::drivers::lines
