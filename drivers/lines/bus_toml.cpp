#include "drivers/lines/bus_toml.hpp"

#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "drivers/instrument_toml.hpp"
#include "drivers/lines/instrument_toml.hpp"
#include "drivers/lines/lines_talk.hpp"
#include "drivers/lines/talk_toml.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::lines {
namespace {

using document::Table;

std::optional<Talker> read_talker(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) {
  if (instrument == nullptr) return std::nullopt;
  Errors found;
  auto parsed = parse_instrument(instrument->text, instrument->file, found);
  append_new(errors, std::move(found));
  if (!parsed) return std::nullopt;
  if (!info.identity.empty() && parsed->id.empty())
    table.mistake("identity", "this instrument does not say who it is",
                  "let the board print id=... and name the key in the instrument file (id = \"id\"), or bind the adapter by its /dev/serial/by-id/ path alone");
  for (const Channel& channel : parsed->channels) info.channels.push_back(info_of(channel));
  TalkOptions options{.stale_after = parsed->stale_after, .settle = parsed->settle, .ask = parsed->ask};
  return Talker{std::move(options), [instrument = std::move(*parsed), identity = std::string(trimmed(info.identity))] { return std::make_unique<LinesTalk>(instrument, identity); }};
}

}  // namespace

std::unique_ptr<BusReader> begin_tcp(Table& bus) { return begin_talk_tcp(bus, read_talker); }
std::unique_ptr<BusReader> begin_serial(Table& bus) { return begin_talk_serial(bus, serial_default, read_talker); }

}  // namespace steadyglow::drivers::lines
