#pragma once
/// The keys of a [[bus]] with driver "lines_tcp" or "lines_serial", for the registry.
#include <chrono>
#include <memory>
#include <optional>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::lines {

inline constexpr int port_default = 4001;  ///< common practice of serial servers, no source
inline constexpr SerialLine serial_default{.device = {}, .baud = 115200};

/// Reads `timeout_seconds` if it is there.
std::optional<std::chrono::milliseconds> read_talk_timeout(document::Table& bus);
/// How long a poll waits for a word when nobody says otherwise: half the time for which one is believed, 0.5 to 3 s.
std::chrono::milliseconds usual_timeout(std::chrono::milliseconds stale_after);

std::unique_ptr<BusReader> begin_tcp(document::Table& bus);
std::unique_ptr<BusReader> begin_serial(document::Table& bus);

}  // namespace steadyglow::drivers::lines
