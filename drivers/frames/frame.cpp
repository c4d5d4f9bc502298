#include "drivers/frames/frame.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace steadyglow::drivers::frames {
namespace {

/// Which segments show which figure: bit 0 is a (top), then clockwise b to f, bit 6 is g (middle). Common practice, no source.
constexpr std::array<std::uint8_t, 10> segment_digits{0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F};
constexpr std::uint8_t segments_blank = 0x00;
constexpr std::uint8_t segments_l = 0x38;  ///< as in "0L"

constexpr std::uint8_t byte_at(std::string_view frame, std::size_t i) { return static_cast<std::uint8_t>(frame[i]); }

bool fits(const BytePattern& pattern, std::uint8_t byte) { return (byte & pattern.mask) == pattern.is; }

bool holds(const Conditions& conditions, std::string_view frame) {
  return !conditions.empty() && std::all_of(conditions.begin(), conditions.end(), [&](const Condition& condition) { return fits(condition.pattern, byte_at(frame, condition.byte)); });
}

bool is_check_right(const FrameCheck& check, std::string_view frame) {
  const std::uint16_t reckoned = lines::reckon(check.kind, frame.substr(check.first, check.last - check.first + 1));
  unsigned stated = byte_at(frame, check.at);
  if (lines::width(check.kind) == 2) stated |= static_cast<unsigned>(byte_at(frame, check.at + 1)) << 8U;
  return reckoned == stated;
}

constexpr int figure_blank = -1, figure_l = -2, figure_none = -3;

int figure_at(DigitKind kind, const Digit& digit, std::string_view frame) {
  if (kind == DigitKind::segments) {
    std::uint8_t lit = 0;
    for (std::size_t i = 0; i < digit.segments.size(); ++i)
      if ((byte_at(frame, digit.segments[i].byte) >> digit.segments[i].bit & 1U) != 0) lit = static_cast<std::uint8_t>(lit | 1U << i);
    if (lit == segments_blank) return figure_blank;
    if (lit == segments_l) return figure_l;
    const auto place = std::find(segment_digits.begin(), segment_digits.end(), lit);
    return place == segment_digits.end() ? figure_none : static_cast<int>(place - segment_digits.begin());
  }
  const std::uint8_t byte = byte_at(frame, digit.byte);
  if (kind == DigitKind::ascii) {
    if (byte == ' ') return figure_blank;
    return byte >= '0' && byte <= '9' ? byte - '0' : figure_none;
  }
  const int nibble = digit.is_high_nibble ? byte >> 4U : byte & 0xF;
  return nibble <= 9 ? nibble : figure_none;
}

struct Figure {
  double value = 0.0;
  bool is_overload = false;
  bool is_damaged = false;
};

/// Blanks stand only before the first figure, and an L anywhere is how a display says "too much".
Figure read_figure(const Instrument& instrument, std::string_view frame) {
  Figure figure;
  bool has_begun = false;
  for (const Digit& digit : instrument.digits) {
    const int shown = figure_at(instrument.digit_kind, digit, frame);
    if (shown == figure_none) figure.is_damaged = true;
    if (shown == figure_l) figure.is_overload = true;
    if (shown == figure_blank && has_begun && !figure.is_overload) figure.is_damaged = true;
    if (shown < 0) continue;
    has_begun = true;
    figure.value = figure.value * 10.0 + shown;
  }
  if (figure.is_overload) figure.is_damaged = false;
  if (!has_begun && !figure.is_overload) figure.is_damaged = true;
  return figure;
}

const Conditions& conditions_of(const Channel& channel) { return channel.mode; }
const Conditions& conditions_of(const PointPlace& point) { return point.when; }
const Conditions& conditions_of(const Multiplier& multiplier) { return multiplier.when; }

/// Which one's conditions hold, from 1; 0 if none does. `is_doubtful`: more than one.
template <class Item>
std::size_t only(const std::vector<Item>& items, std::string_view frame, bool& is_doubtful) {
  std::size_t found = 0;
  for (std::size_t i = 0; i < items.size(); ++i) {
    if (!holds(conditions_of(items[i]), frame)) continue;
    is_doubtful = is_doubtful || found != 0;
    found = i + 1;
  }
  return found;
}

}  // namespace

bool is_frame(const Instrument& instrument, std::string_view frame) {
  for (std::size_t i = 0; i < instrument.frame.size(); ++i)
    if (!fits(instrument.frame[i], byte_at(frame, i))) return false;
  return !instrument.check || is_check_right(*instrument.check, frame);
}

void FrameCutter::lose_track() {
  bytes_.clear();
  is_in_step_ = false;
  is_skipping_ = true;
}

std::optional<std::string> FrameCutter::next() {
  const std::size_t length = instrument_->frame.size();
  std::size_t at = 0;
  std::optional<std::string> found;
  while (!found && bytes_.size() - at >= length) {
    const std::string_view candidate = std::string_view(bytes_).substr(at, length);
    if (!is_frame(*instrument_, candidate)) {
      if (!is_skipping_) ++breaks_;
      is_skipping_ = true;
      is_in_step_ = false;
      ++at;
      continue;
    }
    is_skipping_ = false;
    if (is_in_step_) found = std::string(candidate);
    is_in_step_ = true;
    at += length;
  }
  bytes_.erase(0, at);
  return found;
}

Told read_frame(const Instrument& instrument, std::size_t channel, std::string_view frame) {
  Told told;
  const Figure figure = read_figure(instrument, frame);
  bool is_doubtful = false;
  told.signs = {.mode = only(instrument.channels, frame, is_doubtful),
                .point = only(instrument.points, frame, is_doubtful),
                .multiplier = only(instrument.multipliers, frame, is_doubtful),
                .is_minus = holds(instrument.minus, frame),
                .is_overload = figure.is_overload || holds(instrument.overload, frame)};
  told.is_held = holds(instrument.held, frame);
  told.is_low_battery = holds(instrument.low_battery, frame);
  told.is_other_mode = told.signs.mode != channel + 1;
  told.value = {0.0, Quality::implausible};
  if (figure.is_damaged && !told.signs.is_overload) told.damaged = "it shows what is no figure";
  else if (is_doubtful) told.damaged = "it shows two modes, decimal points or multipliers at once";
  if (!told.damaged.empty() || told.is_other_mode) return told;
  if (told.signs.is_overload) {
    told.value.quality = Quality::over_range;
    return told;
  }
  const int decimals = told.signs.point == 0 ? 0 : instrument.points[told.signs.point - 1].decimals;
  const double factor = told.signs.multiplier == 0 ? 1.0 : instrument.multipliers[told.signs.multiplier - 1].factor;
  const double raw = figure.value / std::pow(10.0, decimals) * factor * (told.signs.is_minus ? -1.0 : 1.0);
  told.value = judge(instrument.channels[channel], raw);
  if (told.is_held) told.value.quality = Quality::stale;
  return told;
}

}  // namespace steadyglow::drivers::frames
