#pragma once
#include <nlohmann/json_fwd.hpp>

#include "profile/profile.hpp"
#include "soak/finding.hpp"

namespace steadyglow::soak {

/// The object that `steadyglow replay` prints, one a line: time_s, point, points, kind, severity, state, value, limit,
/// uom, message. A field without a value is null.
nlohmann::ordered_json to_json(const Finding& finding, const profile::Profile& profile);

}  // namespace steadyglow::soak
