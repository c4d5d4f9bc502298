#include "core/quality.hpp"

#include <array>

namespace steadyglow {
namespace {
constexpr std::array<std::string_view, quality_count> words{
    "good", "over_range", "open_sensor", "stale", "no_answer", "refused", "implausible", "contact_lost", "other_meter"};
}

std::string_view to_word(Quality quality) { return words[static_cast<std::size_t>(quality)]; }

std::optional<Quality> quality_from_word(std::string_view word) {
  for (std::size_t i = 0; i < words.size(); ++i)
    if (words[i] == word) return static_cast<Quality>(i);
  return std::nullopt;
}

}  // namespace steadyglow
