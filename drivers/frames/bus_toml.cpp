#include "drivers/frames/bus_toml.hpp"

#include <algorithm>
#include <optional>
#include <utility>
#include <vector>

#include "drivers/frames/frames_talk.hpp"
#include "drivers/frames/instrument_toml.hpp"
#include "drivers/instrument_toml.hpp"
#include "drivers/lines/bus_toml.hpp"
#include "drivers/lines/instrument.hpp"

namespace steadyglow::drivers::frames {
namespace {

using document::Table;

class Reader final : public BusReader {
 public:
  Reader(wire::Place place, std::optional<std::chrono::milliseconds> timeout) : place_(std::move(place)), timeout_(timeout) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    if (std::exchange(has_meter_, true)) return table.mistake("name", "this device has a line of its own and no address", "one [[bus.meter]] a bus: write another [[bus]] for `" + info.name + "`");
    if (!info.identity.empty()) table.mistake("identity", "such a device cannot say who it is", "remove the line and name its cable by the /dev/serial/by-id/ path");
    const std::string dial = table.maybe_text("dial").value_or("");
    if (instrument == nullptr) return;
    Errors found;
    auto parsed = parse_instrument(instrument->text, instrument->file, found);
    append_new(errors, std::move(found));
    if (!parsed) return;
    channel_ = find_channel(table, *parsed, dial);
    const Channel& channel = parsed->channels[channel_];
    info.channels.push_back(info_of(channel));
    instrument_ = std::move(parsed);
  }

  std::string where() const override { return wire::shown(place_); }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [place = place_, instrument = instrument_, channel = channel_, timeout = timeout_]() -> std::unique_ptr<Bus> {
      return std::make_unique<lines::TalkBus>(place, std::make_unique<FramesTalk>(*instrument, channel), lines::TalkOptions{.timeout = timeout.value_or(lines::usual_timeout(instrument->stale_after)), .stale_after = instrument->stale_after, .settle = lines::settle_usual, .ask = {}});
    };
  }

 private:
  /// The channel that `dial` names. A file with one channel needs no such line.
  static std::size_t find_channel(Table& table, const Instrument& instrument, const std::string& dial) {
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

  wire::Place place_;
  std::optional<std::chrono::milliseconds> timeout_;
  bool has_meter_ = false;
  std::optional<Instrument> instrument_;
  std::size_t channel_ = 0;
};

}  // namespace

std::unique_ptr<BusReader> begin_tcp(Table& bus) {
  TcpEnd end = read_tcp_end(bus, port_default);
  return std::make_unique<Reader>(std::move(end), lines::read_talk_timeout(bus));
}

std::unique_ptr<BusReader> begin_serial(Table& bus) {
  wire::SerialEnd end = wire::read_serial_end(bus, serial_default);
  return std::make_unique<Reader>(std::move(end), lines::read_talk_timeout(bus));
}

}  // namespace steadyglow::drivers::frames
