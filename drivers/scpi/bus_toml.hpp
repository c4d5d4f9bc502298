#pragma once
/// The keys of a [[bus]] with driver "scpi_tcp", "scpi_serial" or "scpi_usbtmc", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers::scpi {

inline constexpr double timeout_seconds_default = 1.5;  ///< a reading over ten mains periods with autoranging takes a second

std::unique_ptr<BusReader> begin_tcp(document::Table& bus);
std::unique_ptr<BusReader> begin_serial(document::Table& bus);
std::unique_ptr<BusReader> begin_usbtmc(document::Table& bus);

}  // namespace steadyglow::drivers::scpi
