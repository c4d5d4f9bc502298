#pragma once
/// A device that sends one short frame of bytes after another and listens to nobody, as a value: how a frame is made and how its
/// figure is read. Most of it stands for what such a device shows: digits, a decimal point, the signs lit beside them.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "drivers/channel.hpp"
#include "drivers/lines/checksum.hpp"

namespace steadyglow::drivers::frames {

inline constexpr std::size_t frame_bytes_min = 4;
inline constexpr std::size_t frame_bytes_max = 64;
inline constexpr std::size_t digits_max = 8;

/// What one byte must be, in the bits that the mask names.
struct BytePattern {
  std::uint8_t mask = 0;
  std::uint8_t is = 0;
};

/// One bit of a frame.
struct Bit {
  std::size_t byte = 0;  ///< from 0 (from 1 in an instrument file)
  std::uint8_t bit = 0;  ///< 0 is the lowest
};

/// A pattern at one byte; a sign that is lit is one bit that is 1.
struct Condition {
  std::size_t byte = 0;  ///< from 0
  BytePattern pattern;
};
/// All of them must hold; an empty one never does.
using Conditions = std::vector<Condition>;

enum class DigitKind : std::uint8_t {
  segments,  ///< seven bits, the segments a to g
  ascii,     ///< one byte, '0' to '9'
  bcd,       ///< four bits, 0 to 9
};

/// Where one digit stands, the most significant first.
struct Digit {
  std::vector<Bit> segments;  ///< a, b, c, d, e, f, g
  std::size_t byte = 0;       ///< ascii and bcd
  bool is_high_nibble = false;
};

struct PointPlace {
  Conditions when;
  int decimals = 0;  ///< digits behind the point
};

struct Multiplier {
  Conditions when;
  double factor = 1.0;
};

struct FrameCheck {
  lines::Checksum kind = lines::Checksum::sum8;
  std::size_t first = 0;  ///< from 0; first and last are summed too
  std::size_t last = 0;
  std::size_t at = 0;     ///< crc16_modbus: the low byte, the high one follows
};

/// One position of the dial.
struct Channel : ChannelRule {
  Conditions mode;  ///< holds when the device measures this
};

struct Instrument {
  std::string title;
  std::vector<BytePattern> frame;  ///< one a byte
  std::optional<FrameCheck> check;
  DigitKind digit_kind = DigitKind::ascii;
  std::vector<Digit> digits;
  Conditions minus;
  Conditions overload;
  Conditions held;         ///< the shown figure is frozen
  Conditions low_battery;
  std::vector<PointPlace> points;  ///< none holds: no point is lit
  std::vector<Multiplier> multipliers;
  std::chrono::milliseconds stale_after{3000};
  std::vector<Channel> channels;
};

}  // namespace steadyglow::drivers::frames
