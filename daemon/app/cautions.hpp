#pragma once
#include <string>
#include <vector>

namespace steadyglow::app {

/// What a person accepts by name before a unit may be left alone. SAFETY.md says each at length, and where it comes from.
struct Caution {
  std::string key;
  std::string sentence;
};
const std::vector<Caution>& cautions();

}  // namespace steadyglow::app
