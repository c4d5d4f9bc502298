#pragma once
#include <optional>
#include <string_view>

#include "core/result.hpp"
#include "drivers/mqtt/instrument.hpp"

namespace steadyglow::drivers::mqtt {

/// What stands in a topic of an instrument file for the `device` of the meter.
inline constexpr std::string_view device_mark = "{device}";

/// Reads an instrument file (TOML). All mistakes go to `errors` with file:line:column; nothing comes back if there was any.
std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors);

/// The same instrument with the topics of one device.
Instrument with_device(Instrument instrument, const std::string& device);

}  // namespace steadyglow::drivers::mqtt
