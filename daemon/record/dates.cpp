#include "record/dates.hpp"

#include <fmt/format.h>

#include <array>
#include <chrono>

namespace steadyglow::record {
namespace {

constexpr std::int64_t day_ms = 86'400'000;
constexpr std::array<std::string_view, 12> months{"January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"};

std::optional<int> digits(std::string_view text, std::size_t at, std::size_t count) {
  if (at + count > text.size()) return std::nullopt;
  int value = 0;
  for (std::size_t i = at; i < at + count; ++i) {
    if (text[i] < '0' || text[i] > '9') return std::nullopt;
    value = value * 10 + (text[i] - '0');
  }
  return value;
}

struct Parts {
  std::chrono::year_month_day date;
  int hour, minute, second;
};

Parts parts_of(std::int64_t utc_ms) {
  const std::chrono::sys_time<std::chrono::milliseconds> at{std::chrono::milliseconds{utc_ms}};
  const auto day = std::chrono::floor<std::chrono::days>(at);
  const auto seconds = static_cast<int>(std::chrono::floor<std::chrono::seconds>(at - day).count());
  return {std::chrono::year_month_day{day}, seconds / 3600, seconds / 60 % 60, seconds % 60};
}

}  // namespace

std::optional<std::int64_t> date_from_text(std::string_view text) {
  const auto year = digits(text, 0, 4), month = digits(text, 5, 2), day = digits(text, 8, 2);
  if (text.size() != 10 || !year || !month || !day || text[4] != '-' || text[7] != '-') return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{*year}, std::chrono::month{static_cast<unsigned>(*month)}, std::chrono::day{static_cast<unsigned>(*day)}};
  if (!date.ok()) return std::nullopt;
  return std::chrono::sys_days{date}.time_since_epoch().count() * day_ms;
}

std::optional<std::int64_t> utc_from_text(std::string_view text) {
  const auto date = date_from_text(text.substr(0, 10));
  const auto hour = digits(text, 11, 2), minute = digits(text, 14, 2), second = digits(text, 17, 2);
  if (!date || !hour || !minute || !second || text.size() < 20 || text[10] != 'T' || text[13] != ':' || text[16] != ':' || text.back() != 'Z') return std::nullopt;
  if (*hour > 23 || *minute > 59 || *second > 60) return std::nullopt;
  std::int64_t ms = 0, weight = 100;
  if (text[19] == '.')
    for (std::size_t i = 20; i + 1 < text.size(); ++i, weight /= 10) {
      if (text[i] < '0' || text[i] > '9') return std::nullopt;
      ms += weight * (text[i] - '0');
    }
  else if (text.size() != 20) return std::nullopt;
  return *date + (*hour * 3600LL + *minute * 60LL + *second) * 1000 + ms;
}

std::string utc_text(std::int64_t utc_ms) {
  const Parts at = parts_of(utc_ms);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}Z", static_cast<int>(at.date.year()), static_cast<unsigned>(at.date.month()), static_cast<unsigned>(at.date.day()), at.hour, at.minute, at.second);
}

std::string date_words(std::int64_t utc_ms) {
  const Parts at = parts_of(utc_ms);
  return fmt::format("{} {} {}", static_cast<unsigned>(at.date.day()), months[static_cast<unsigned>(at.date.month()) - 1], static_cast<int>(at.date.year()));
}

std::string moment_words(std::int64_t utc_ms) {
  const Parts at = parts_of(utc_ms);
  return fmt::format("{}, {:02}:{:02} UTC", date_words(utc_ms), at.hour, at.minute);
}

}  // namespace steadyglow::record
