#include "drivers/lines/line.hpp"

#include <algorithm>
#include <charconv>
#include <utility>

#include "core/decimal.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::lines {
namespace {

constexpr std::size_t shown_max = 48;
constexpr std::size_t counter_digits_max = 18;
constexpr std::string_view line_ends = "\r\n";
/// What stands beside a field and says nothing: never what parts two fields.
std::string_view blanks_beside(char separator) { return separator == '\t' ? " " : " \t"; }
constexpr std::string_view blanks = " \t";  ///< of which any run parts two pairs, where the separator is ' '

bool is_printable(char c) { return (c >= ' ' && c <= '~') || c == '\t'; }

std::string hexadecimal(std::uint16_t value, std::size_t digits) {
  std::string text;
  for (std::size_t i = digits; i-- > 0;) text += "0123456789ABCDEF"[(value >> (4 * i)) & 0xFU];
  return text;
}

/// Takes the checksum off the line's end; why it is damaged, or empty.
std::string take_checksum(Checksum kind, std::string_view& line) {
  const auto star = line.rfind('*');
  if (star == std::string_view::npos) return "it has no checksum";
  const std::string_view stated = line.substr(star + 1);
  const std::size_t digits = 2 * width(kind);
  unsigned value = 0;
  const auto [end, status] = std::from_chars(stated.data(), stated.data() + stated.size(), value, 16);
  if (stated.size() != digits || status != std::errc{} || end != stated.data() + stated.size())
    return "its checksum is `" + shown(stated) + "`, not " + std::to_string(digits) + " hexadecimal digits";
  line = line.substr(0, star);
  const std::uint16_t reckoned = reckon(kind, line);
  if (reckoned != value) return "its checksum is " + std::string(stated) + ", but its bytes give " + hexadecimal(reckoned, digits);
  return {};
}

struct Pair {
  std::string_view key;
  std::string_view value;
};

std::vector<std::string_view> split(std::string_view line, char separator) {
  std::vector<std::string_view> parts;
  while (!line.empty()) {
    const auto end = separator == ' ' ? line.find_first_of(blanks) : line.find(separator);
    const std::string_view part = trimmed(line.substr(0, end), blanks);
    if (!part.empty() || separator != ' ') parts.push_back(part);
    line = end == std::string_view::npos ? std::string_view{} : line.substr(end + 1);
  }
  return parts;
}

/// Looks a key up in a line; nothing unless it stands there exactly once.
std::optional<std::string_view> only(const std::vector<Pair>& pairs, std::string_view key, std::string& why) {
  const Pair* found = nullptr;
  for (const Pair& pair : pairs) {
    if (pair.key != key) continue;
    if (found != nullptr) {
      why = "`" + std::string(key) + "` stands in it twice";
      return std::nullopt;
    }
    found = &pair;
  }
  if (found == nullptr) {
    why = "it has no `" + std::string(key) + "`";
    return std::nullopt;
  }
  return found->value;
}

/// The text of a channel as a value; false if the line is damaged.
bool read_value(const Instrument& instrument, const Channel& channel, std::string_view text, Line& line, std::string& why) {
  for (const WordMeaning& word : channel.words)
    if (word.text == text) {
      line.channels.push_back({0.0, word.quality});
      return true;
    }
  if (const auto raw = parse_decimal(text)) {
    line.channels.push_back(judge(channel, *raw));
    return true;
  }
  const std::string told = "`" + channel.name + "` says `" + shown(text) + "`, which is no number";
  // Figures that make no number were damaged on their way, and then the others of the line are in doubt too. A word is what the device says
  // of this channel alone, if a checksum vouches for it.
  const bool is_word = text.find_first_of("0123456789") == std::string_view::npos;
  if (!instrument.checksum || !is_word) {
    why = told;
    return false;
  }
  line.trouble = told;
  line.channels.push_back({0.0, Quality::implausible});
  return true;
}

bool read_counter(std::string_view text, Line& line, std::string& why) {
  std::uint64_t value = 0;
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || text.size() > counter_digits_max || status != std::errc{} || end != text.data() + text.size()) {
    why = "its counter is `" + shown(text) + "`";
    return false;
  }
  line.counter = value;
  return true;
}

bool read_counter_and_id(const Instrument& instrument, const std::vector<Pair>& pairs, Outcome& outcome) {
  if (!instrument.counter.empty()) {
    const auto text = only(pairs, instrument.counter, outcome.why);
    if (!text || !read_counter(*text, outcome.line, outcome.why)) return false;
  }
  if (!instrument.id.empty()) {
    const auto text = only(pairs, instrument.id, outcome.why);
    if (!text) return false;
    if (text->empty()) {
      outcome.why = "its `" + instrument.id + "` is empty";
      return false;
    }
    outcome.line.id = *text;
  }
  return true;
}

void read_channels(const Instrument& instrument, const std::vector<Pair>& pairs, Outcome& outcome) {
  if (!read_counter_and_id(instrument, pairs, outcome)) return;
  for (const Channel& channel : instrument.channels) {
    const auto text = only(pairs, channel.key, outcome.why);
    if (!text || !read_value(instrument, channel, *text, outcome.line, outcome.why)) return;
  }
  outcome.kind = Outcome::Kind::reading;
}

void read_pairs(const Instrument& instrument, std::string_view line, Outcome& outcome) {
  std::vector<Pair> pairs;
  for (const std::string_view part : split(line, instrument.separator)) {
    const auto equals = part.find('=');
    if (equals == std::string_view::npos || equals == 0) {
      outcome.why = "`" + shown(part) + "` is not key=value";
      return;
    }
    pairs.push_back({trimmed(part.substr(0, equals)), trimmed(part.substr(equals + 1))});
  }
  read_channels(instrument, pairs, outcome);
}

bool is_header(const Instrument& instrument, const std::vector<std::string>& fields) {
  if (!instrument.has_header) return false;
  const auto stands_there = [&](const std::string& key) { return std::count(fields.begin(), fields.end(), key) == 1; };
  if (!instrument.counter.empty() && !stands_there(instrument.counter)) return false;
  if (!instrument.id.empty() && !stands_there(instrument.id)) return false;
  return std::all_of(instrument.channels.begin(), instrument.channels.end(), [&](const Channel& channel) { return stands_there(channel.key); });
}

void read_fields(const Instrument& instrument, const std::vector<std::string>& columns, std::string_view line, Outcome& outcome) {
  auto fields = split_csv(line, instrument.separator);
  if (!fields) {
    outcome.why = "its quotes do not match";
    return;
  }
  if (is_header(instrument, *fields)) {
    outcome.kind = Outcome::Kind::header;
    outcome.columns = std::move(*fields);
    return;
  }
  if (columns.empty()) {
    outcome.why = "its columns have no names yet: the header line has not been heard";
    return;
  }
  if (fields->size() != columns.size()) {
    outcome.why = "it has " + std::to_string(fields->size()) + " fields, not " + std::to_string(columns.size());
    return;
  }
  std::vector<Pair> pairs;
  for (std::size_t i = 0; i < fields->size(); ++i) pairs.push_back({columns[i], (*fields)[i]});
  read_channels(instrument, pairs, outcome);
}

}  // namespace


void LineCutter::lose_track() {
  begin_line();
  is_skipping_ = true;
}

void LineCutter::begin_line() {
  text_.clear();
  searched_ = 0;
  is_skipping_ = false;
}

void LineCutter::take(std::string_view bytes) { text_ += bytes; }

std::optional<std::string> LineCutter::next() {
  for (;;) {
    const auto end = text_.find_first_of(line_ends, searched_);
    if (end == std::string::npos) {
      if (text_.size() > line_bytes_max) {
        if (!is_skipping_) ++too_long_;
        lose_track();
      }
      searched_ = text_.size();
      return std::nullopt;
    }
    std::string line = text_.substr(0, end);
    text_.erase(0, end + 1);
    searched_ = 0;
    const bool is_rest = std::exchange(is_skipping_, false);
    if (line.size() > line_bytes_max && !is_rest) ++too_long_;
    if (!is_rest && !line.empty() && line.size() <= line_bytes_max) return line;
  }
}

std::optional<std::vector<std::string>> split_csv(std::string_view line, char separator) {
  const std::string_view beside = blanks_beside(separator);
  std::vector<std::string> fields;
  std::size_t at = 0;
  for (;;) {
    std::string field;
    const auto first = line.find_first_not_of(beside, at);
    if (first != std::string_view::npos && line[first] == '"') {
      std::size_t i = first + 1;
      for (;; ++i) {
        if (i >= line.size()) return std::nullopt;
        if (line[i] != '"') field += line[i];
        else if (i + 1 < line.size() && line[i + 1] == '"') field += line[i++];
        else break;
      }
      at = line.find_first_not_of(beside, i + 1);
      if (at != std::string_view::npos && line[at] != separator) return std::nullopt;
    } else {
      const auto end = line.find(separator, at);
      field = trimmed(line.substr(at, end == std::string_view::npos ? end : end - at), beside);
      if (field.find('"') != std::string::npos) return std::nullopt;
      at = end;
    }
    fields.push_back(std::move(field));
    if (at == std::string_view::npos) return fields;
    ++at;
  }
}

std::string shown(std::string_view text) {
  std::string clean;
  for (const char c : text.substr(0, shown_max)) clean += is_printable(c) && c != '\t' ? c : '?';
  if (text.size() > shown_max) clean += "...";
  return clean;
}

Outcome read_line(const Instrument& instrument, const std::vector<std::string>& columns, std::string_view line) {
  Outcome outcome;
  if (line.front() == '#') {
    outcome.kind = Outcome::Kind::remark;
    return outcome;
  }
  if (!std::all_of(line.begin(), line.end(), is_printable)) {
    outcome.why = "it holds bytes that are no text (another baud rate?): `" + shown(line) + "`";
    return outcome;
  }
  // An empty field at either end of a csv line is a field.
  line = trimmed(line, instrument.format == Format::csv ? blanks_beside(instrument.separator) : blanks);
  // A header is said before anything is measured, often by another part of the board's program: it may come without a checksum.
  const bool may_be_header = instrument.has_header && line.find('*') == std::string_view::npos;
  if (instrument.checksum && !may_be_header) {
    outcome.why = take_checksum(*instrument.checksum, line);
    if (!outcome.why.empty()) return outcome;
  }
  if (instrument.format == Format::csv) read_fields(instrument, columns, line, outcome);
  else read_pairs(instrument, line, outcome);
  if (instrument.checksum && may_be_header && outcome.kind == Outcome::Kind::reading) {
    outcome = {};
    outcome.why = "it has no checksum";
  }
  return outcome;
}

}  // namespace steadyglow::drivers::lines
