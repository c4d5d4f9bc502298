#pragma once
/// Every driver by its word in the configuration. A new driver is a folder, its test, and one line in registry.cpp.
#include <functional>
#include <optional>
#include <string>

#include "core/result.hpp"
#include "document/table.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers {

inline constexpr std::size_t meters_per_bus_max = 247;
inline constexpr double poll_seconds_min = 0.05;
inline constexpr double poll_seconds_max = 3600.0;

/// Finds the text of an instrument file by name; the edge of the program reads the file.
using InstrumentFinder = std::function<Result<InstrumentText>(const std::string& name)>;

/// Reads one [[bus]] table, to its last key.
/// `errors` is the list that `bus` writes to; the mistakes of an instrument file join it once, with that file's name.
/// Nothing comes back if there was any mistake.
std::optional<BusSpec> read_bus(document::Table& bus, const InstrumentFinder& find, Errors& errors);

}  // namespace steadyglow::drivers
