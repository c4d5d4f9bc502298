#pragma once
#include <cstdint>
#include <optional>
#include <string_view>

namespace steadyglow {

/// Why a reading may or may not be believed. Only a good one has a value that anybody may use.
enum class Quality : std::uint8_t {
  good,
  over_range,    ///< the meter says that the quantity is outside its range
  open_sensor,   ///< the meter says that nothing is connected
  stale,         ///< the value is old: the source stopped renewing it
  no_answer,     ///< the meter did not answer
  refused,       ///< the meter answered that it will not say (for example a Modbus exception)
  implausible,   ///< a sentinel, garbage, or a value that cannot be
  contact_lost,  ///< the meter is well but its clip or probe has left the unit
  other_meter,   ///< another device answers where the bound one is expected
};

inline constexpr std::uint8_t quality_count = 9;

/// The word used in config, CSV, JSON, SQL and metrics alike.
std::string_view to_word(Quality quality);
std::optional<Quality> quality_from_word(std::string_view word);

}  // namespace steadyglow
