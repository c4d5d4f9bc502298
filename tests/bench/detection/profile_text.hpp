#pragma once
/// The unit as a technician enters it, as a profile file.
#include <string>

#include "bench/detection/unit.hpp"

namespace steadyglow::detection {

std::string profile_text(const Unit& unit);

}  // namespace steadyglow::detection
