#include "alarm/fact.hpp"

#include <array>

namespace steadyglow::alarm {

std::string_view to_word(Priority priority) {
  constexpr std::array<std::string_view, priority_count> words{"low", "medium", "high", "highest"};
  return words[static_cast<std::size_t>(priority)];
}

std::string_view to_word(Cause cause) {
  constexpr std::array<std::string_view, cause_count> words{"unit", "bus", "mains", "bench"};
  return words[static_cast<std::size_t>(cause)];
}

}  // namespace steadyglow::alarm
