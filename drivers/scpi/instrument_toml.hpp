#pragma once
#include <optional>
#include <string>
#include <string_view>

#include "core/result.hpp"
#include "document/table.hpp"
#include "drivers/scpi/instrument.hpp"

namespace steadyglow::drivers::scpi {

/// Reads an instrument file of protocol scpi. Nothing comes back if there was any mistake; all of them are in `errors`.
std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors);

/// Reads `terminator`: "\n", "\r\n" or "\r".
std::optional<std::string> read_terminator(document::Table& table);

}  // namespace steadyglow::drivers::scpi
