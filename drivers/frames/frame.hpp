#pragma once
/// From bytes to frames, and from a frame to a value. No I/O and no clock.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "drivers/driver.hpp"
#include "drivers/frames/instrument.hpp"

namespace steadyglow::drivers::frames {

/// True when each byte is as the pattern says, and the checksum is right where there is one. `frame` has the frame's length.
bool is_frame(const Instrument& instrument, std::string_view frame);

/// Finds frames in a stream. After a byte that belongs to no frame (and at the beginning) the first frame that fits is not believed: it
/// may be chance. The one right behind it is.
class FrameCutter {
 public:
  /// `instrument` outlives the cutter.
  explicit FrameCutter(const Instrument& instrument) : instrument_(&instrument) {}

  /// What comes next may begin in the middle of a frame.
  void lose_track();
  void take(std::string_view bytes) { bytes_ += bytes; }
  /// The last frame was damaged inside: the next one is not believed by itself either.
  void doubt() { is_in_step_ = false; }
  /// The next frame to believe; nothing if there is none yet.
  std::optional<std::string> next();
  /// Times that bytes belonged to no frame.
  std::uint64_t breaks() const { return breaks_; }

 private:
  const Instrument* instrument_;
  std::string bytes_;
  bool is_in_step_ = false;
  bool is_skipping_ = true;  ///< the bytes thrown away now are counted already
  std::uint64_t breaks_ = 0;
};

/// Everything that a frame shows beside its digits.
struct Signs {
  std::size_t mode = 0;        ///< of the channels, from 1; 0: none
  std::size_t point = 0;       ///< of the points, from 1; 0: none
  std::size_t multiplier = 0;  ///< of the multipliers, from 1; 0: none
  bool is_minus = false;
  bool is_overload = false;
  bool operator==(const Signs&) const = default;
};

/// What a frame says.
struct Told {
  ChannelValue value;
  Signs signs;
  bool is_other_mode = false;   ///< the dial stands elsewhere
  bool is_held = false;
  bool is_low_battery = false;
  std::string damaged;          ///< why nothing of it is believed; empty if it is well made
};

/// Reads a frame as the channel at whose mode the dial is expected.
Told read_frame(const Instrument& instrument, std::size_t channel, std::string_view frame);

}  // namespace steadyglow::drivers::frames
