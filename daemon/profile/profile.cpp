#include "profile/profile.hpp"

#include <array>

namespace steadyglow::profile {
namespace {
constexpr std::array<std::string_view, role_count> words{
    "bias",    "grid_bias",      "supply",        "heater",        "offset",      "heatsink", "transformer", "motor", "chassis",
    "ambient", "supply_current", "mains_voltage", "mains_current", "mains_power", "level",    "speed",       "other"};
}

std::string_view to_word(Role role) { return words[static_cast<std::size_t>(role)]; }

std::optional<Role> role_from_word(std::string_view word) {
  for (std::size_t i = 0; i < words.size(); ++i)
    if (words[i] == word) return static_cast<Role>(i);
  return std::nullopt;
}

std::vector<std::string_view> role_words() { return {words.begin(), words.end()}; }

std::optional<PointId> Profile::find(std::string_view name) const {
  for (std::size_t i = 0; i < points.size(); ++i)
    if (points[i].name == name) return PointId{static_cast<std::uint16_t>(i)};
  return std::nullopt;
}

std::optional<PointId> Profile::first_of(Role role) const {
  for (std::size_t i = 0; i < points.size(); ++i)
    if (points[i].role == role) return PointId{static_cast<std::uint16_t>(i)};
  return std::nullopt;
}

}  // namespace steadyglow::profile
