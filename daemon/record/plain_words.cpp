#include "record/plain_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>

#include "soak/words.hpp"

namespace steadyglow::record {
namespace {

using profile::Role;

std::vector<std::string> parts_of(const std::string& name) {
  std::vector<std::string> parts(1);
  for (const char c : name) {
    if (c == '_') parts.emplace_back();
    else parts.back() += c;
  }
  std::erase(parts, "");
  return parts;
}

std::string lower(std::string_view text) {
  std::string out;
  for (const unsigned char c : text) out += static_cast<char>(std::tolower(c));
  return out;
}

/// "v1", "q12", "b", "hv": what stands on a schematic in capitals.
bool is_designator(const std::string& part) {
  constexpr std::array letters{"dc", "ac", "hv", "ht", "iq", "agc", "psu"};
  if (std::find(letters.begin(), letters.end(), part) != letters.end()) return true;
  return part.size() >= 2 && part.size() <= 4 && std::isalpha(static_cast<unsigned char>(part[0])) != 0 && std::all_of(part.begin() + 1, part.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
}

bool has_any(const profile::Profile& profile, std::initializer_list<Role> roles) {
  return std::any_of(profile.points.begin(), profile.points.end(), [&](const profile::Point& point) { return std::find(roles.begin(), roles.end(), point.role) != roles.end(); });
}

}  // namespace

std::string point_words(const profile::Point& point) {
  std::vector<std::string> parts = parts_of(point.name);
  // A uom at the end of the name is said with the figure.
  const std::array ends{lower(point.uom.symbol), point.is_temperature() ? std::string("c") : std::string(), point.uom.symbol == "{rpm}" ? std::string("rpm") : std::string()};
  if (parts.size() > 1 && std::find(ends.begin(), ends.end(), parts.back()) != ends.end()) parts.pop_back();
  std::string text;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    std::string part = parts[i];
    if (i + 1 < parts.size() && part.size() == 1 && parts[i + 1] == "plus") {
      part = std::string(1, static_cast<char>(std::toupper(static_cast<unsigned char>(part[0])))) + "+";
      ++i;
    } else if (is_designator(part)) {
      for (char& c : part) c = static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
    }
    text += (text.empty() ? "" : " ") + part;
  }
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

std::string_view role_words(Role role) {
  constexpr std::array<std::string_view, profile::role_count> words{
      "idle current", "grid bias", "supply", "heater supply", "DC offset", "heatsink temperature", "transformer temperature", "motor temperature", "chassis temperature", "room temperature",
      "supply current", "mains voltage", "mains current", "mains power", "audio level", "speed", "other"};
  return words[static_cast<std::size_t>(role)];
}

std::string span_words(Duration span) {
  const double seconds = seconds_of(span);
  if (seconds < 120.0) return fmt::format("{:.0f} s", seconds);
  if (seconds < 7200.0) return fmt::format("{:.0f} min", seconds / 60.0);
  return fmt::format("{:.1f} h", seconds / 3600.0);
}

std::string run_time_words(Timestamp at) {
  const std::int64_t minutes = ms_of(at) / 60'000;
  if (ms_of(at) < 60'000) return fmt::format("{} s", ms_of(at) / 1000);
  return minutes < 60 ? fmt::format("{} min", minutes) : fmt::format("{} h {:02} min", minutes / 60, minutes % 60);
}

std::string band_words(const profile::Point& point, const profile::Band& band) {
  if (band.low && band.high) {
    const std::string low = soak::figure(point, *band.low);
    // The uom is said once.
    return fmt::format("{} to {}", low.substr(0, low.find(' ')), soak::figure(point, *band.high));
  }
  if (band.high) return "below " + soak::figure(point, *band.high);
  if (band.low) return "above " + soak::figure(point, *band.low);
  return {};
}

std::string significant(double value, int digits) {
  constexpr int decimals_most = 6;
  if (!std::isfinite(value)) return "?";
  const double size = std::fabs(value);
  const int before_point = size > 0.0 ? static_cast<int>(std::floor(std::log10(size))) + 1 : 1;
  const std::string text = fmt::format("{:.{}f}", value, std::clamp(digits - before_point, 0, decimals_most));
  return text.find_first_not_of("-0.") == std::string::npos ? "0" : text;
}

std::vector<std::string> not_measured(const profile::Profile& profile) {
  std::vector<std::string> sentences;
  const bool is_tube = profile.kind.find("tube") != std::string::npos;
  const bool is_amplifier = is_tube || profile.kind.find("class-") != std::string::npos || profile.kind.find("receiver") != std::string::npos || profile.kind.find("mono") != std::string::npos ||
                            profile.kind.find("amp") != std::string::npos;
  const auto lacks = [&](std::initializer_list<Role> roles, std::string sentence) {
    if (!has_any(profile, roles)) sentences.push_back(std::move(sentence));
  };
  if (is_amplifier) lacks({Role::bias, Role::supply_current}, "Idle currents: no point shows them.");
  lacks({Role::supply}, "Supply voltages inside the unit.");
  if (is_tube) lacks({Role::heater}, "Heater voltage.");
  if (is_amplifier && !is_tube) lacks({Role::offset}, "DC offset at the outputs.");
  if (is_amplifier) lacks({Role::heatsink, Role::transformer, Role::chassis}, "Temperatures inside the unit.");
  lacks({Role::ambient}, "Room temperature: temperatures are given as they were, and not over the room.");
  lacks({Role::mains_voltage}, "Mains voltage at the unit: figures that follow the mains could not be allowed for.");
  lacks({Role::mains_power, Role::mains_current}, "What the unit draws from the mains.");
  lacks({Role::level}, "Audio level: whether sound came out all the time.");
  if (has_any(profile, {Role::offset})) sentences.emplace_back("Offset behind an open speaker relay: it reads as zero, whatever the unit does.");
  sentences.emplace_back("Distortion, noise, frequency response and how it sounds: a soak does not measure them.");
  sentences.emplace_back("Electrical safety: earth, insulation and leakage are tests of their own, made and signed by a qualified person.");
  return sentences;
}

}  // namespace steadyglow::record
