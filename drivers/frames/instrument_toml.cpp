#include "drivers/frames/instrument_toml.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <string>
#include <utility>

#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers::frames {
namespace {

using document::Range;
using document::Table;

constexpr std::array<std::string_view, 3> digit_words{"segments", "ascii", "bcd"};
constexpr std::size_t segment_count = 7;
constexpr Range stale_seconds{0.2, 600.0};
constexpr std::size_t conditions_max = 32;
constexpr std::string_view condition_hint = "\"2.3\" is bit 3 of byte 2 lit, \"!2.3\" the same unlit, \"7=5A\" or \"7='V'\" a whole byte; bytes count from 1, bits from 0";

int nibble_of(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  return -1;
}

/// A whole number from `least` to `most`, nothing else in the text.
std::optional<std::size_t> parse_number(std::string_view text, std::size_t least, std::size_t most) {
  std::size_t value = 0;
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || status != std::errc{} || end != text.data() + text.size() || value < least || value > most) return std::nullopt;
  return value;
}

std::optional<Bit> parse_bit(std::string_view text, std::size_t length) {
  const auto dot = text.find('.');
  if (dot == std::string_view::npos) return std::nullopt;
  const auto byte = parse_number(text.substr(0, dot), 1, length);
  const auto bit = parse_number(text.substr(dot + 1), 0, 7);
  if (!byte || !bit) return std::nullopt;
  return Bit{*byte - 1, static_cast<std::uint8_t>(*bit)};
}

std::vector<std::string_view> words_of(std::string_view text) {
  std::vector<std::string_view> words;
  while (!text.empty()) {
    const auto first = text.find_first_not_of(' ');
    if (first == std::string_view::npos) break;
    const auto end = text.find(' ', first);
    words.push_back(text.substr(first, end - first));
    text = end == std::string_view::npos ? std::string_view{} : text.substr(end);
  }
  return words;
}

/// Reads the instrument's own keys; `length` is that of the frame, known once `frame` was read.
class HeadReader {
 public:
  HeadReader(Table& head, Instrument& instrument) : head_(head), instrument_(instrument) {}

  void read() {
    read_pattern();
    read_check();
    read_digits();
    instrument_.minus = conditions(head_, "minus");
    instrument_.overload = conditions(head_, "overload");
    instrument_.held = conditions(head_, "held");
    instrument_.low_battery = conditions(head_, "low_battery");
    for (Table& item : head_.tables("point")) {
      PointPlace point{.when = conditions(item, "when"), .decimals = item.whole("decimals", {0, static_cast<double>(digits_max)})};
      need_conditions(item, "when", point.when);
      item.done();
      instrument_.points.push_back(std::move(point));
    }
    for (Table& item : head_.tables("multiplier")) {
      Multiplier multiplier{.when = conditions(item, "when"), .factor = item.number("factor", {1e-12, 1e12})};
      need_conditions(item, "when", multiplier.when);
      item.done();
      instrument_.multipliers.push_back(std::move(multiplier));
    }
    if (const auto seconds = head_.maybe_number("stale_after_seconds", stale_seconds))
      instrument_.stale_after = std::chrono::milliseconds{static_cast<std::int64_t>(*seconds * 1000.0 + 0.5)};
    head_.done();
  }

  Conditions conditions(Table& table, std::string_view key) const {
    Conditions all;
    for (const std::string& text : table.texts(key)) {
      if (const auto condition = parse_condition(text, instrument_.frame.size())) all.push_back(*condition);
      else if (!instrument_.frame.empty()) table.mistake(key, "`" + text + "` names no bit or byte of a frame of " + std::to_string(instrument_.frame.size()) + " bytes", std::string(condition_hint));
    }
    if (all.size() > conditions_max) table.mistake(key, std::to_string(all.size()) + " conditions are more than " + std::to_string(conditions_max));
    return all;
  }

  static void need_conditions(Table& table, std::string_view key, const Conditions& conditions) {
    if (!table.has(key) || (conditions.empty() && table.texts(key).empty()))
      table.mistake(key, "`" + std::string(key) + "` says nothing", std::string(condition_hint));
  }

 private:
  void read_pattern() {
    const std::string text = head_.text("frame");
    int fixed_bits = 0;
    for (const std::string_view word : words_of(text)) {
      const auto pattern = parse_pattern(word);
      if (!pattern) return head_.mistake("frame", "`" + std::string(word) + "` is no byte", "each byte is two of 0-9, A-F and x (any), or eight of 0, 1 and x, as in \"1x 2x 0D 0A\"");
      instrument_.frame.push_back(*pattern);
      for (unsigned bits = pattern->mask; bits != 0; bits &= bits - 1) ++fixed_bits;
    }
    const std::size_t length = instrument_.frame.size();
    if (!text.empty() && (length < frame_bytes_min || length > frame_bytes_max))
      head_.mistake("frame", "a frame of " + std::to_string(length) + " bytes is not supported", std::to_string(frame_bytes_min) + " to " + std::to_string(frame_bytes_max));
    constexpr int fixed_bits_least = 8;
    if (!instrument_.frame.empty() && fixed_bits < fixed_bits_least)
      head_.mistake("frame", "nothing in it says where a frame begins", "state what never changes: a counting nibble, a start byte, the line end");
  }

  void read_check() {
    auto table = head_.maybe_table("checksum");
    if (!table) return;
    const double length = static_cast<double>(std::max(instrument_.frame.size(), frame_bytes_min));
    FrameCheck check;
    const bool has_kind = table->has("kind");
    check.kind = lines::checksum_from_word(table->word("kind", lines::checksum_words())).value_or(lines::Checksum::sum8);
    const int from = table->whole("from", {1, length});
    const int to = table->whole("to", {1, length});
    const int at = table->whole("at", {1, length});
    table->done();
    if (!has_kind || from < 1 || to < 1 || at < 1) return;
    const int width = static_cast<int>(lines::width(check.kind));
    if (to < from) head_.mistake("checksum", "`to` stands before `from`", "swap them?");
    else if (at + width - 1 > static_cast<int>(instrument_.frame.size())) head_.mistake("checksum", "it would reach past the frame");
    else if (at <= to && at + width - 1 >= from) head_.mistake("checksum", "it cannot sum itself", "`at` lies outside `from` to `to`");
    check.first = static_cast<std::size_t>(from) - 1;
    check.last = static_cast<std::size_t>(to) - 1;
    check.at = static_cast<std::size_t>(at) - 1;
    instrument_.check = check;
  }

  void read_digits() {
    auto table = head_.maybe_table("digits");
    if (!table) {
      if (!head_.has("digits")) head_.mistake("", "`digits` is missing here", "add a line digits = { kind = \"ascii\", at = [\"2\", \"3\"] }");
      return;
    }
    const std::string word = table->word("kind", {digit_words.begin(), digit_words.end()});
    const auto places = table->texts("at");
    table->done();
    if (word.empty() || instrument_.frame.empty()) return;
    instrument_.digit_kind = static_cast<DigitKind>(std::find(digit_words.begin(), digit_words.end(), word) - digit_words.begin());
    if (places.empty() || places.size() > digits_max) head_.mistake("digits", std::to_string(places.size()) + " digits are not supported", "1 to " + std::to_string(digits_max));
    for (const std::string& place : places) {
      const auto digit = parse_digit(place);
      if (!digit) return head_.mistake("digits", "`" + place + "` names no digit", digit_hint());
      instrument_.digits.push_back(*digit);
    }
  }

  std::string digit_hint() const {
    switch (instrument_.digit_kind) {
      case DigitKind::segments: return "name the bits of the segments a b c d e f g, as in \"2.0 3.0 3.2 3.3 2.2 2.1 3.1\"; bytes count from 1, bits from 0";
      case DigitKind::ascii: return "name the byte, from 1, as in \"2\"";
      case DigitKind::bcd: break;
    }
    return "name the byte, from 1, and h or l for its high or low half, as in \"2h\"";
  }

  std::optional<Digit> parse_digit(std::string_view text) const {
    const std::size_t length = instrument_.frame.size();
    Digit digit;
    if (instrument_.digit_kind == DigitKind::segments) {
      for (const std::string_view word : words_of(text)) {
        const auto bit = parse_bit(word, length);
        if (!bit) return std::nullopt;
        digit.segments.push_back(*bit);
      }
      return digit.segments.size() == segment_count ? std::optional(digit) : std::nullopt;
    }
    if (instrument_.digit_kind == DigitKind::bcd) {
      if (text.empty() || (text.back() != 'h' && text.back() != 'l')) return std::nullopt;
      digit.is_high_nibble = text.back() == 'h';
      text.remove_suffix(1);
    }
    const auto byte = parse_number(text, 1, length);
    if (!byte) return std::nullopt;
    digit.byte = *byte - 1;
    return digit;
  }

  Table& head_;
  Instrument& instrument_;
};

}  // namespace

std::optional<BytePattern> parse_pattern(std::string_view text) {
  constexpr std::size_t hex_digits = 2, bits = 8;
  BytePattern pattern;
  if (text.size() != hex_digits && text.size() != bits) return std::nullopt;
  const unsigned step = text.size() == bits ? 1 : 4;
  for (const char c : text) {
    const int value = c == 'x' ? 0 : nibble_of(c);
    if (value < 0 || value >= (1 << step)) return std::nullopt;
    const unsigned mask = c == 'x' ? 0U : (1U << step) - 1U;
    pattern.mask = static_cast<std::uint8_t>(static_cast<unsigned>(pattern.mask) << step | mask);
    pattern.is = static_cast<std::uint8_t>(static_cast<unsigned>(pattern.is) << step | static_cast<unsigned>(value));
  }
  return pattern;
}

std::optional<Condition> parse_condition(std::string_view text, std::size_t length) {
  if (const auto equals = text.find('='); equals != std::string_view::npos) {
    const auto byte = parse_number(text.substr(0, equals), 1, length);
    const std::string_view value = text.substr(equals + 1);
    if (!byte) return std::nullopt;
    if (value.size() == 3 && value.front() == '\'' && value.back() == '\'') return Condition{*byte - 1, {0xFF, static_cast<std::uint8_t>(value[1])}};
    const auto pattern = parse_pattern(value);
    if (!pattern || pattern->mask == 0) return std::nullopt;
    return Condition{*byte - 1, *pattern};
  }
  const bool is_unlit = text.starts_with('!');
  const auto bit = parse_bit(is_unlit ? text.substr(1) : text, length);
  if (!bit) return std::nullopt;
  const auto mask = static_cast<std::uint8_t>(1U << bit->bit);
  return Condition{bit->byte, {mask, is_unlit ? std::uint8_t{0} : mask}};
}

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  return read_instrument<Instrument>(text, file, "frames", errors, [](Table& top, Table* head, Instrument& instrument) {
    auto channels = top.tables("channel");
    top.done();
    if (head == nullptr) return;
    HeadReader reader(*head, instrument);
    reader.read();
    check_counts(top, channels.size(), 0, false);
    read_each(std::move(channels), "channel", instrument.channels, [&](Table& table) {
      Channel channel;
      static_cast<ChannelRule&>(channel) = read_channel_head(table);
      read_channel_numbers(table, channel);
      channel.mode = reader.conditions(table, "mode");
      HeadReader::need_conditions(table, "mode", channel.mode);
      return channel;
    });
  });
}

}  // namespace steadyglow::drivers::frames
