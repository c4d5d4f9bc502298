#pragma once
/// The keys of a [[bus]] with driver "lines_tcp" or "lines_serial", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::lines {

/// Long enough for the next line of a device that says one a second.
inline constexpr double timeout_seconds_default = 1.5;
inline constexpr int port_default = 4001;  ///< common practice of serial servers, no source
inline constexpr SerialLine serial_default{.device = {}, .baud = 115200};

std::unique_ptr<BusReader> begin_tcp(document::Table& bus);
std::unique_ptr<BusReader> begin_serial(document::Table& bus);

}  // namespace steadyglow::drivers::lines
