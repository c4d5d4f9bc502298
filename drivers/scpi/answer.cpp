#include "drivers/scpi/answer.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>

namespace steadyglow::drivers::scpi {
namespace {

constexpr double infinity = 9.9e37;
constexpr double not_a_number = 9.91e37;
/// Beyond this nothing is a reading: the special numbers are spelt from single-precision values by some instruments.
constexpr double reading_most = 1e36;
constexpr double spelling = 1e-6;  // relative
constexpr std::size_t shown_most = 60;
constexpr std::size_t identity_fields_least = 3;
constexpr std::size_t identity_length_most = 200;

// Meters' displays and SCPI's character data for infinity; common practice, no source.
constexpr std::array<std::string_view, 13> overload_words{"OL", "O.L", "0L", "OVL", "OVLD", "OVER", "OVERLOAD", "OVERFLOW", "OVERRANGE", "INF", "INFINITY", "NINF", "NINFINITY"};

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_letter(char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); }

bool is_overload_word(std::string_view text) {
  if (!text.empty() && (text.front() == '+' || text.front() == '-')) text.remove_prefix(1);
  const std::string word = upper(text);
  return std::find(overload_words.begin(), overload_words.end(), word) != overload_words.end();
}

/// The length of the longest NR1, NR2 or NR3 that `text` begins with; 0: none.
std::size_t number_length(std::string_view text) {
  std::size_t i = !text.empty() && (text[0] == '+' || text[0] == '-') ? 1 : 0;
  const auto digits = [&] {
    const std::size_t from = i;
    while (i < text.size() && is_digit(text[i])) ++i;
    return i - from;
  };
  std::size_t count = digits();
  if (i < text.size() && text[i] == '.') {
    ++i;
    count += digits();
  }
  if (count == 0) return 0;
  const std::size_t mantissa = i;
  if (i < text.size() && (text[i] == 'e' || text[i] == 'E')) {
    ++i;
    if (i < text.size() && (text[i] == '+' || text[i] == '-')) ++i;
    if (digits() == 0) return mantissa;
  }
  return i;
}

bool is_near(double value, double special) { return std::abs(std::abs(value) - special) < special * spelling; }

}  // namespace

std::string upper(std::string_view text) {
  std::string result(text);
  for (char& c : result) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  return result;
}

Number read_number(std::string_view text) {
  text = trimmed(text);
  if (is_overload_word(text)) return {0.0, Quality::over_range, {}};
  if (upper(text) == "NAN") return {0.0, Quality::implausible, {}};
  const std::size_t length = number_length(text);
  if (length == 0) return {0.0, Quality::implausible, "`" + shown_answer(text) + "` is no number"};
  if (length < text.size()) {
    const std::string rest(trimmed(text.substr(length)));
    const bool is_unit = !rest.empty() && (is_letter(rest.front()) || rest.front() == '%' || (rest.front() & 0x80) != 0);
    if (is_unit) return {0.0, Quality::implausible, "`" + shown_answer(text) + "` has a unit behind the number: make the instrument answer without it"};
    return {0.0, Quality::implausible, "`" + shown_answer(text) + "` is no number"};
  }
  const std::string_view digits = text.front() == '+' ? text.substr(1) : text;
  double value = 0.0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
  if (error != std::errc() || end != digits.data() + digits.size()) return {0.0, Quality::implausible, "`" + shown_answer(text) + "` is no number"};
  if (is_near(value, infinity)) return {value, Quality::over_range, {}};
  if (is_near(value, not_a_number)) return {value, Quality::implausible, {}};
  if (std::abs(value) > reading_most) return {value, Quality::implausible, "`" + shown_answer(text) + "` is beyond what a reading can be"};
  return {value, Quality::good, {}};
}

std::vector<std::string_view> split_fields(std::string_view answer) {
  std::vector<std::string_view> fields;
  while (true) {
    const std::size_t end = answer.find_first_of(",;");
    fields.push_back(trimmed(answer.substr(0, end)));
    if (end == std::string_view::npos) return fields;
    answer.remove_prefix(end + 1);
  }
}

bool is_identity(std::string_view answer) {
  answer = trimmed(answer);
  if (answer.size() > identity_length_most) return false;
  if (!std::all_of(answer.begin(), answer.end(), [](unsigned char c) { return c >= 0x20 && c < 0x7F; })) return false;
  const auto fields = split_fields(answer);
  if (fields.size() < identity_fields_least) return false;
  const auto is_name = [](std::string_view field) { return !field.empty() && is_letter(field.front()) && !is_overload_word(field) && upper(field) != "NAN"; };
  return is_name(fields[0]) || is_name(fields[1]);
}

bool is_same_identity(std::string_view bound, std::string_view said) {
  bound = trimmed(bound);
  said = trimmed(said);
  if (!said.starts_with(bound)) return false;
  const std::string_view rest = said.substr(bound.size());
  return rest.empty() || rest.front() == ',';
}

std::optional<bool> read_switch(std::string_view answer) {
  const std::string word = upper(trimmed(answer));
  if (word == "1" || word == "+1" || word == "ON") return true;
  if (word == "0" || word == "+0" || word == "OFF") return false;
  return std::nullopt;
}

std::optional<ErrorEntry> read_error(std::string_view answer) {
  answer = trimmed(answer);
  std::string_view digits = answer;
  if (!digits.empty() && digits.front() == '+') digits.remove_prefix(1);
  int code = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), code);
  if (error != std::errc()) return std::nullopt;
  const bool has_text = end != digits.data() + digits.size();
  // One field alone could be a reading; it is an entry only as the plain 0 that some instruments answer for an empty queue.
  if (!has_text && code != 0) return std::nullopt;
  if (has_text && *end != ',') return std::nullopt;
  const std::string_view text = has_text ? trimmed(std::string_view(end + 1, static_cast<std::size_t>(digits.data() + digits.size() - end - 1))) : std::string_view();
  // An entry speaks in words; a list of readings does not.
  if (has_text && !std::any_of(text.begin(), text.end(), is_letter)) return std::nullopt;
  return ErrorEntry{code, shown_answer(answer)};
}

std::string shown_answer(std::string_view answer) {
  static constexpr std::string_view hex = "0123456789ABCDEF";
  std::string result;
  for (const char c : answer.substr(0, shown_most)) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte >= 0x20 && byte < 0x7F) result += c;
    else result += std::string("\\x") + hex[byte >> 4] + hex[byte & 0xF];
  }
  if (answer.size() > shown_most) result += "...";
  return result;
}

}  // namespace steadyglow::drivers::scpi
