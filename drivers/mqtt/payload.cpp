#include "drivers/mqtt/payload.hpp"

#include <charconv>
#include <cmath>

#include <nlohmann/json.hpp>

#include "core/decimal.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::mqtt {
namespace {

using Json = nlohmann::json;
using std::chrono::system_clock;

/// A thousand years either side of 1970 in seconds: beyond, it is no moment of anything here.
constexpr double seconds_most = 3.2e10;

std::optional<int> figures(std::string_view text, std::size_t at, std::size_t count) {
  if (at + count > text.size()) return std::nullopt;
  int value = 0;
  for (const char c : text.substr(at, count)) {
    if (c < '0' || c > '9') return std::nullopt;
    value = 10 * value + (c - '0');
  }
  return value;
}

}  // namespace

struct Payload::Document {
  Json json;
};

Payload::Payload(std::string_view bytes) : whole_(trimmed(bytes)) {
  if (whole_.empty() || bytes.size() > payload_bytes_max || (whole_.front() != '{' && whole_.front() != '[')) return;
  Json json = Json::parse(whole_, nullptr, false);
  if (!json.is_discarded()) document_ = std::make_unique<Document>(Document{std::move(json)});
}

Payload::~Payload() = default;

std::optional<std::string> Payload::text_at(const std::string& pointer) const {
  if (pointer.empty()) return std::string(whole_);
  if (!document_) return std::nullopt;
  try {
    const Json::json_pointer place(pointer);
    if (!document_->json.contains(place)) return std::nullopt;
    const Json& found = document_->json.at(place);
    if (found.is_string()) return found.get<std::string>();
    if (found.is_boolean()) return found.get<bool>() ? "true" : "false";
    if (found.is_number()) return to_decimal(found.get<double>());
  } catch (const Json::exception&) {
    // A step that fits no list, such as /01.
  }
  return std::nullopt;
}

std::optional<double> Payload::number_at(const std::string& pointer, Quantity quantity, const Words& words) const {
  const auto text = text_at(pointer);
  if (!text) return std::nullopt;
  if (quantity == Quantity::state) {
    if (!words.on.empty() && *text == words.on) return 1.0;
    if (!words.off.empty() && *text == words.off) return 0.0;
    if (*text == "true") return 1.0;
    if (*text == "false") return 0.0;
  }
  return parse_decimal(*text);
}

std::optional<system_clock::time_point> Payload::time_at(const std::string& pointer, bool is_in_milliseconds) const {
  const auto text = text_at(pointer);
  if (!text) return std::nullopt;
  const auto number = parse_decimal(*text);
  if (!number) return parse_rfc3339(*text);
  const double seconds = is_in_milliseconds ? *number / 1000.0 : *number;
  if (std::fabs(seconds) > seconds_most) return std::nullopt;
  return system_clock::time_point{std::chrono::milliseconds{std::llround(seconds * 1000.0)}};
}

bool is_pointer(std::string_view text) {
  if (text.empty()) return true;
  if (text.front() != '/') return false;
  for (std::size_t i = 0; i < text.size(); ++i)
    if (text[i] == '~' && (i + 1 == text.size() || (text[i + 1] != '0' && text[i + 1] != '1'))) return false;
  return true;
}

// date-time of RFC 3339, section 5.6: 2026-01-31T23:59:59.25+01:00; a leap second counts as the second after.
std::optional<system_clock::time_point> parse_rfc3339(std::string_view text) {
  constexpr std::size_t least = sizeof("2026-01-31T23:59:59Z") - 1;
  if (text.size() < least || text[4] != '-' || text[7] != '-' || (text[10] != 'T' && text[10] != 't' && text[10] != ' ') || text[13] != ':' || text[16] != ':') return std::nullopt;
  const auto year = figures(text, 0, 4), month = figures(text, 5, 2), day = figures(text, 8, 2), hour = figures(text, 11, 2), minute = figures(text, 14, 2), second = figures(text, 17, 2);
  if (!year || !month || !day || !hour || !minute || !second || *hour > 23 || *minute > 59 || *second > 60) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)}, std::chrono::day{static_cast<unsigned>(*day)}};
  if (!date.ok()) return std::nullopt;
  std::size_t at = 19;
  std::chrono::milliseconds part{};
  if (text[at] == '.') {
    int scale = 100;
    for (++at; at < text.size() && text[at] >= '0' && text[at] <= '9'; ++at, scale /= 10) part += std::chrono::milliseconds{scale * (text[at] - '0')};
  }
  std::chrono::minutes offset{};
  if (at < text.size() && (text[at] == '+' || text[at] == '-')) {
    const auto hours = figures(text, at + 1, 2), minutes = figures(text, at + 4, 2);
    if (!hours || !minutes || text[at + 3] != ':' || text.size() != at + 6) return std::nullopt;
    offset = std::chrono::minutes{(60 * *hours + *minutes) * (text[at] == '-' ? -1 : 1)};
  } else if (at + 1 != text.size() || (text[at] != 'Z' && text[at] != 'z')) {
    return std::nullopt;
  }
  return std::chrono::sys_days{date} + std::chrono::hours{*hour} + std::chrono::minutes{*minute} + std::chrono::seconds{*second} + part - offset;
}

}  // namespace steadyglow::drivers::mqtt
