#pragma once
#include <optional>
#include <string_view>

#include "core/result.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"

namespace steadyglow::profile {

/// Reads a profile from TOML text. `file` is only for messages. Every mistake goes into `errors` with
/// file:line:column and a hint; the result is empty if there was any.
std::optional<Profile> parse_profile(std::string_view text, std::string_view file, Errors& errors);

/// Reads a plan from TOML text, in the same manner.
std::optional<Plan> parse_plan(std::string_view text, std::string_view file, Errors& errors);

}  // namespace steadyglow::profile
