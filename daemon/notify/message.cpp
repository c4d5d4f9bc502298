#include "notify/message.hpp"

#include <array>

namespace steadyglow::notify {

std::string_view to_word(Advice advice) {
  constexpr std::array<std::string_view, 3> words{"SLEEP", "LOOK", "COME"};
  return words[static_cast<std::size_t>(advice)];
}

std::string_view to_word(Purpose purpose) {
  constexpr std::array<std::string_view, 7> words{"alarm", "repeat", "escalation", "changed", "over", "morning", "test"};
  return words[static_cast<std::size_t>(purpose)];
}

}  // namespace steadyglow::notify
