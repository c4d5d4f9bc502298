#pragma once
/// What is wired to the lines of a GPIO chip, as a value.
#include <cstdint>
#include <string>
#include <vector>

namespace steadyglow::drivers::gpio {

/// Offsets are numbers of a chip's own lines; more than these no chip of a shop has.
inline constexpr unsigned line_most = 511;

/// What holds an input where nothing drives it.
enum class Bias : std::uint8_t { pull_up, pull_down, none };

struct Line {
  std::string name;
  unsigned number = 0;         ///< its offset on the chip
  bool is_active_low = false;  ///< low level means 1 (input) or on (output)
  Bias bias = Bias::none;      ///< of an input
};

struct Instrument {
  std::string title;
  std::vector<Line> inputs;   ///< the channels, each a state
  std::vector<Line> outputs;
};

}  // namespace steadyglow::drivers::gpio
