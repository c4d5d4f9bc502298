#pragma once
/// The keys of a [[bus]] with driver "frames_serial" or "frames_tcp" (a cable behind a serial server), for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::frames {

inline constexpr SerialLine serial_default{.device = {}, .baud = 2400};

std::unique_ptr<BusReader> begin_tcp(document::Table& bus);
std::unique_ptr<BusReader> begin_serial(document::Table& bus);

}  // namespace steadyglow::drivers::frames
