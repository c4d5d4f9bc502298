#pragma once
#include <nlohmann/json.hpp>

#include "core/result.hpp"
#include "soak/policy.hpp"

namespace steadyglow::app {

inline constexpr double person_back_minutes_max = 7.0 * 24.0 * 60.0;

/// What a person sent as `policy`: the fields of API.md, all optional, no others. `now` is the run time at which they said it.
Result<soak::Policy> read_policy(const nlohmann::json& json, const std::string& who, Timestamp now);

}  // namespace steadyglow::app
