#pragma once
/// The keys of a [[bus]] with driver "lines_tcp" or "lines_serial", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::lines {

inline constexpr SerialLine serial_default{.device = {}, .baud = 115200};

std::unique_ptr<BusReader> begin_tcp(document::Table& bus);
std::unique_ptr<BusReader> begin_serial(document::Table& bus);

}  // namespace steadyglow::drivers::lines
