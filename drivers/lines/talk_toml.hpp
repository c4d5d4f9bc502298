#pragma once
/// The keys of a [[bus]] with one device that talks, whatever it says: lines here, frames next door.
#include <chrono>
#include <functional>
#include <memory>
#include <optional>

#include "document/table.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/lines/talk_bus.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::lines {

inline constexpr int port_default = 4001;  ///< common practice of serial servers, no source

/// A device as its instrument file and its meter's keys describe it. The timeout of `options` is for the bus to say.
struct Talker {
  TalkOptions options;
  std::function<std::unique_ptr<Talk>()> make;
};
/// Reads the protocol's own keys of a [[bus.meter]], and fills in the channels. Nothing comes of a mistake in the instrument file.
using ReadTalker = std::optional<Talker> (*)(document::Table& meter, const InstrumentText* instrument, MeterInfo& info, Errors& errors);

std::unique_ptr<BusReader> begin_talk_tcp(document::Table& bus, ReadTalker read);
std::unique_ptr<BusReader> begin_talk_serial(document::Table& bus, const SerialLine& defaults, ReadTalker read);

/// How long a poll waits for a word when nobody says otherwise: half the time for which one is believed, 0.5 to 3 s.
std::chrono::milliseconds usual_timeout(std::chrono::milliseconds stale_after);

}  // namespace steadyglow::drivers::lines
