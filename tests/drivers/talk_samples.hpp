#pragma once
/// What true boards and meters say, made without the drivers' code: lines with counters and checksums, frames of segments and of text.
#include <gtest/gtest.h>

#include <array>
#include <cstdint>
#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

#include "support/house_instruments.hpp"

namespace steadyglow::tests {

inline std::string shipped(const std::string& instrument) { return house_instrument(instrument).text; }

template <class... Arguments>
std::string print(const char* format, Arguments... arguments) {
  std::array<char, 256> text{};
  std::snprintf(text.data(), text.size(), format, arguments...);
  return text.data();
}

/// CRC by the table-less long division of MODBUS over Serial Line V1.02, 6.2.2, bit by bit from the highest power down, mirrored at the end:
/// another way than the driver goes.
inline std::uint16_t long_division_crc(std::string_view bytes) {
  std::uint32_t remainder = 0xFFFF;
  for (const char c : bytes) {
    for (unsigned bit = 0; bit < 8; ++bit) {  // a byte goes in with its lowest bit first
      const bool in = ((static_cast<std::uint8_t>(c) >> bit) & 1U) != 0;
      const bool out = (remainder & 0x8000U) != 0;
      remainder = (remainder << 1U) & 0xFFFFU;
      if (in != out) remainder ^= 0x8005U;
    }
  }
  std::uint16_t mirrored = 0;
  for (unsigned bit = 0; bit < 16; ++bit)
    if ((remainder >> bit & 1U) != 0) mirrored = static_cast<std::uint16_t>(mirrored | 1U << (15 - bit));
  return mirrored;
}

/// `kind`: "xor8", "sum8", "crc16_modbus" or "".
inline std::string with_checksum(const std::string& line, std::string_view kind) {
  if (kind == "crc16_modbus") return line + print("*%04X", long_division_crc(line));
  unsigned value = 0;
  for (const char c : line) value = kind == "xor8" ? value ^ static_cast<std::uint8_t>(c) : (value + static_cast<std::uint8_t>(c)) & 0xFFU;
  return kind.empty() ? line : line + print("*%02X", value);
}

/// What a handheld shows: four figures, where the point stands, and what is lit.
struct Display {
  int figures = 0;       ///< 0 to 9999
  int decimals = 0;      ///< 0 to 3
  bool is_minus = false;
  bool is_overload = false;
  bool is_low_battery = false;
  bool is_held = false;
  char mode = 'V';       ///< V volts DC, A amperes DC, R ohms, T degrees (text frames only)
  char prefix = ' ';     ///< m milli, k kilo
};

/// Fourteen bytes: the layout that config/instruments/handheld-14byte-segments.toml describes.
inline std::string segment_frame(const Display& display) {
  std::array<std::uint8_t, 14> low{};
  const auto light = [&](int byte, int bit) { low[static_cast<std::size_t>(byte - 1)] = static_cast<std::uint8_t>(low[static_cast<std::size_t>(byte - 1)] | 1U << static_cast<unsigned>(bit)); };
  // The lit segments of each figure by their letters, as a seven-segment display shows it.
  constexpr std::array<const char*, 10> letters{"abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg"};
  const std::string text = display.is_overload ? " 0L " : print("%04d", display.figures);
  for (int i = 0; i < 4; ++i) {
    const char c = text[static_cast<std::size_t>(i)];
    const int byte = 2 + 2 * i;
    for (const char* letter = c == ' ' ? "" : c == 'L' ? "def" : letters[static_cast<std::size_t>(c - '0')]; *letter != '\0'; ++letter) switch (*letter) {
        case 'a': light(byte, 0); break;
        case 'f': light(byte, 1); break;
        case 'e': light(byte, 2); break;
        case 'b': light(byte + 1, 0); break;
        case 'g': light(byte + 1, 1); break;
        case 'c': light(byte + 1, 2); break;
        default: light(byte + 1, 3); break;
      }
  }
  if (display.is_minus) light(2, 3);
  if (display.decimals > 0 && !display.is_overload) light(10 - 2 * display.decimals, 3);
  if (display.mode != 'R') light(1, 2);
  if (display.mode == 'V') light(13, 2);
  if (display.mode == 'A') light(13, 3);
  if (display.mode == 'R') light(12, 2);
  if (display.prefix == 'm') light(11, 3);
  if (display.prefix == 'k') light(10, 1);
  if (display.is_held) light(12, 0);
  if (display.is_low_battery) light(13, 0);
  std::string frame;
  for (std::size_t i = 0; i < low.size(); ++i) frame += static_cast<char>((i + 1) << 4U | low[i]);
  return frame;
}

/// Nine bytes: the layout that config/instruments/handheld-ascii-9byte.toml describes.
inline std::string text_frame(const Display& display) {
  const int signs = 0x40 + (display.is_minus ? 1 : 0) + (display.is_overload ? 2 : 0) + (display.is_low_battery ? 4 : 0) + (display.prefix == 'k' ? 8 : 0);
  std::string frame = print("%c%04d%d%c", signs, display.figures, display.decimals, display.mode);
  unsigned sum = 0;
  for (const char c : frame) sum += static_cast<std::uint8_t>(c);
  frame += static_cast<char>(sum & 0xFFU);
  return frame + '\n';
}

}  // namespace steadyglow::tests
