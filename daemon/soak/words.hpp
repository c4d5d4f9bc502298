#pragma once
/// Figures and spans of time as a person says them.
#include <string>

#include "core/timestamp.hpp"
#include "profile/profile.hpp"

namespace steadyglow::soak {

inline double to_base(const profile::Point& point, double value) { return point.uom.to_base * value; }

/// "38.4 mV": three significant digits and the uom as shown.
std::string figure(const profile::Point& point, double value);
/// "45 s", "12 min", "3.5 h".
std::string span_text(Duration duration);

}  // namespace steadyglow::soak
