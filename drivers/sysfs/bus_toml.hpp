#pragma once
/// The keys of a [[bus]] with driver "sysfs", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers::sysfs {

std::unique_ptr<BusReader> begin(document::Table& bus);

}  // namespace steadyglow::drivers::sysfs
