#pragma once
/// The keys of a [[bus]] with driver "gpio", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers::gpio {

std::unique_ptr<BusReader> begin(document::Table& bus);

}  // namespace steadyglow::drivers::gpio
