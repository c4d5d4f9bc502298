#pragma once
/// The keys of a [[bus]] with driver "modbus_tcp" or "modbus_rtu", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers::modbus {

inline constexpr double timeout_seconds_default = 0.5;

std::unique_ptr<BusReader> begin_tcp(document::Table& bus);
std::unique_ptr<BusReader> begin_rtu(document::Table& bus);

}  // namespace steadyglow::drivers::modbus
