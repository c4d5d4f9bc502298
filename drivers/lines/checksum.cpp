#include "drivers/lines/checksum.hpp"

#include <algorithm>
#include <array>

#include "drivers/crc16.hpp"

namespace steadyglow::drivers::lines {
namespace {

constexpr std::array<std::string_view, 3> words{"xor8", "sum8", "crc16_modbus"};

}  // namespace

std::uint16_t reckon(Checksum kind, std::string_view bytes) {
  if (kind == Checksum::crc16_modbus) return crc16_modbus({reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size()});
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
