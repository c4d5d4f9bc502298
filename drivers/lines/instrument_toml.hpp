#pragma once
/// An instrument file with protocol = "lines", read strictly.
#include <optional>
#include <string_view>

#include "core/result.hpp"
#include "drivers/lines/instrument.hpp"

namespace steadyglow::drivers::lines {

/// Nothing comes back if there was any mistake; they all are in `errors`.
std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors);

}  // namespace steadyglow::drivers::lines
