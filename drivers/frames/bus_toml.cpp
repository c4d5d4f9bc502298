#include "drivers/frames/bus_toml.hpp"

#include <algorithm>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include "drivers/frames/frames_talk.hpp"
#include "drivers/frames/instrument_toml.hpp"
#include "drivers/instrument_toml.hpp"
#include "drivers/lines/instrument.hpp"
#include "drivers/lines/talk_toml.hpp"

namespace steadyglow::drivers::frames {
namespace {

using document::Table;

/// The channel that `dial` names. A file with one channel needs no such line.
std::size_t find_channel(Table& table, const Instrument& instrument, const std::string& dial) {
  const auto& channels = instrument.channels;
  std::string known;
  for (const Channel& channel : channels) known += (known.empty() ? "\"" : ", \"") + channel.name + "\"";
  if (!table.has("dial") && channels.size() == 1) return 0;
  if (!table.has("dial")) table.mistake("", "`dial` is missing here", "say at what the meter's dial stands, one of: " + known);
  if (dial.empty()) return 0;
  const auto place = std::find_if(channels.begin(), channels.end(), [&](const Channel& channel) { return channel.name == dial; });
  if (place != channels.end()) return static_cast<std::size_t>(place - channels.begin());
  table.mistake("dial", "the instrument has no channel `" + dial + "`", "one of: " + known);
  return 0;
}

std::optional<lines::Talker> read_talker(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) {
  if (!info.identity.empty()) table.mistake("identity", "such a device cannot say who it is", "remove the line and name its cable by the /dev/serial/by-id/ path");
  const std::string dial = table.maybe_text("dial").value_or("");
  if (instrument == nullptr) return std::nullopt;
  Errors found;
  auto parsed = parse_instrument(instrument->text, instrument->file, found);
  append_new(errors, std::move(found));
  if (!parsed) return std::nullopt;
  const std::size_t channel = find_channel(table, *parsed, dial);
  info.channels.push_back(info_of(parsed->channels[channel]));
  lines::TalkOptions options{.stale_after = parsed->stale_after, .settle = lines::settle_usual, .ask = {}};
  return lines::Talker{std::move(options), [instrument = std::move(*parsed), channel] { return std::make_unique<FramesTalk>(instrument, channel); }};
}

}  // namespace

std::unique_ptr<BusReader> begin_tcp(Table& bus) { return lines::begin_talk_tcp(bus, read_talker); }
std::unique_ptr<BusReader> begin_serial(Table& bus) { return lines::begin_talk_serial(bus, serial_default, read_talker); }

}  // namespace steadyglow::drivers::frames
