#pragma once
/// An instrument file with protocol = "frames", read strictly.
#include <optional>
#include <string_view>

#include "core/result.hpp"
#include "drivers/frames/instrument.hpp"

namespace steadyglow::drivers::frames {

/// Nothing comes back if there was any mistake; they all are in `errors`.
std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors);

/// "5A", "3x" (x: any) or eight of 0, 1 and x; nothing if it is none of them.
std::optional<BytePattern> parse_pattern(std::string_view text);
/// "2.3" (bit 3 of byte 2 is 1), "!2.3" (is 0), "7=5A", "7=3x", "7='V'". Bytes from 1 to `length`.
std::optional<Condition> parse_condition(std::string_view text, std::size_t length);

}  // namespace steadyglow::drivers::frames
