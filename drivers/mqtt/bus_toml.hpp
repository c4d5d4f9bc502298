#pragma once
/// The keys of a [[bus]] with driver "mqtt", for the registry.
#include <memory>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers::mqtt {

/// For the broker's answer, and again for the device's.
inline constexpr double timeout_seconds_default = 2.0;

std::unique_ptr<BusReader> begin(document::Table& bus);

}  // namespace steadyglow::drivers::mqtt
