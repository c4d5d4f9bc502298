#include "drivers/sysfs/w1.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdlib>

namespace steadyglow::drivers::sysfs {
namespace {

constexpr std::size_t scratchpad_bytes = 9;
constexpr std::size_t rom_length = 15, rom_dash = 2;

bool is_hex(char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); }

}  // namespace

std::uint8_t w1_crc(std::span<const std::uint8_t> bytes) {
  std::uint8_t crc = 0;
  for (std::uint8_t byte : bytes)
    for (int bit = 0; bit < 8; ++bit) {
      const bool is_odd = ((crc ^ byte) & 1) != 0;
      crc = static_cast<std::uint8_t>(crc >> 1);
      if (is_odd) crc ^= 0x8C;
      byte = static_cast<std::uint8_t>(byte >> 1);
    }
  return crc;
}

std::optional<long> parse_w1_slave(std::string_view text) {
  std::array<std::uint8_t, scratchpad_bytes> scratchpad{};
  std::size_t at = 0;
  for (std::uint8_t& byte : scratchpad) {
    if (at + 3 > text.size() || text[at + 2] != ' ') return std::nullopt;
    const auto [end, failure] = std::from_chars(text.data() + at, text.data() + at + 2, byte, 16);
    if (failure != std::errc{} || end != text.data() + at + 2) return std::nullopt;
    at += 3;
  }
  const std::size_t line_end = text.find('\n');
  if (line_end == std::string_view::npos || !text.substr(0, line_end).ends_with(" YES")) return std::nullopt;
  const bool is_blank = std::all_of(scratchpad.begin(), scratchpad.end(), [](std::uint8_t byte) { return byte == 0; });
  // Nine zeros have a right CRC: a short circuit says that.
  if (is_blank || w1_crc({scratchpad.data(), scratchpad_bytes - 1}) != scratchpad.back()) return std::nullopt;
  const std::size_t mark = text.find(" t=", line_end);
  if (mark == std::string_view::npos) return std::nullopt;
  const char* first = text.data() + mark + 3;
  const char* last = text.data() + text.size();
  long millidegrees = 0;
  const auto [end, failure] = std::from_chars(first, last, millidegrees);
  if (failure != std::errc{} || (end != last && *end != '\n')) return std::nullopt;
  return millidegrees;
}

bool is_w1_rom(std::string_view text) {
  if (text.size() != rom_length || text[rom_dash] != '-') return false;
  for (std::size_t i = 0; i < rom_length; ++i)
    if (i != rom_dash && !is_hex(text[i])) return false;
  return true;
}

W1Verdict PowerOnGuard::judge(long millidegrees, Instant now) {
  if (millidegrees == w1_weak_power_millidegrees) return W1Verdict::weak_power;
  if (millidegrees != w1_power_on_millidegrees) {
    last_ = Neighbour{millidegrees, now};
    return W1Verdict::believable;
  }
  const bool is_near = last_ && now - last_->at <= w1_neighbour_age_max && std::labs(millidegrees - last_->millidegrees) <= w1_neighbour_millidegrees;
  return is_near ? W1Verdict::believable : W1Verdict::power_on;
}

}  // namespace steadyglow::drivers::sysfs
