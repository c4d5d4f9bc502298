#pragma once
/// "While you slept": half a page that a person reads in a minute, each item to tick.
#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>

#include "app/facts.hpp"
#include "app/session.hpp"

namespace steadyglow::app {

/// Without a beginning the sheet looks back over this much bench time.
inline constexpr double morning_hours = 12.0;

/// One unit's part, as API.md shows it; null if nothing of it lies after `from_utc_ms`.
nlohmann::ordered_json morning_of(const UnitSession& session, const Facts& facts, std::int64_t from_utc_ms);

}  // namespace steadyglow::app
