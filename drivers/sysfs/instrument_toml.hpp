#pragma once
#include <optional>
#include <string_view>

#include "core/result.hpp"
#include "drivers/sysfs/instrument.hpp"

namespace steadyglow::drivers::sysfs {

/// Reads an instrument file (TOML). All mistakes go to `errors` with file:line:column; nothing comes back if there was any.
std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors);

}  // namespace steadyglow::drivers::sysfs
