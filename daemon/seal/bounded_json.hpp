#pragma once
#include <nlohmann/json.hpp>
#include <string_view>

#include "core/result.hpp"

namespace steadyglow::seal {

inline constexpr std::size_t json_bytes_max = std::size_t{1} << 20;
inline constexpr std::size_t json_depth_max = 32;

/// Reads JSON (RFC 8259) of a stranger: not longer than `bytes_max`, not deeper than json_depth_max.
/// Fails: Fault::bad_data with the byte at which it stops to be JSON.
Result<nlohmann::ordered_json> bounded_json(std::string_view text, std::size_t bytes_max = json_bytes_max);

}  // namespace steadyglow::seal
