#include "drivers/lines/bus_toml.hpp"

#include <algorithm>
#include <memory>
#include <optional>
#include <utility>

#include "drivers/instrument_toml.hpp"
#include "drivers/lines/instrument_toml.hpp"
#include "drivers/lines/lines_talk.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::lines {
namespace {

using document::Table;

class Reader final : public BusReader {
 public:
  Reader(wire::Place place, std::optional<std::chrono::milliseconds> timeout) : place_(std::move(place)), timeout_(timeout) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    if (std::exchange(has_meter_, true)) return table.mistake("name", "this device has a line of its own and no address", "one [[bus.meter]] a bus: write another [[bus]] for `" + info.name + "`");
    if (instrument == nullptr) return;
    Errors found;
    auto parsed = parse_instrument(instrument->text, instrument->file, found);
    append_new(errors, std::move(found));
    if (!parsed) return;
    if (!info.identity.empty() && parsed->id.empty())
      table.mistake("identity", "this instrument does not say who it is",
                    "let the board print id=... and name the key in the instrument file (id = \"id\"), or bind the adapter by its /dev/serial/by-id/ path alone");
    for (const Channel& channel : parsed->channels) info.channels.push_back(info_of(channel));
    instrument_ = std::move(parsed);
    identity_ = std::string(trimmed(info.identity));
  }

  std::string where() const override { return wire::shown(place_); }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [place = place_, instrument = instrument_, identity = identity_, timeout = timeout_]() -> std::unique_ptr<Bus> {
      TalkOptions options{.timeout = timeout.value_or(usual_timeout(instrument->stale_after)), .stale_after = instrument->stale_after, .settle = instrument->settle, .ask = instrument->ask};
      return std::make_unique<TalkBus>(place, std::make_unique<LinesTalk>(*instrument, identity), std::move(options));
    };
  }

 private:
  wire::Place place_;
  std::optional<std::chrono::milliseconds> timeout_;
  bool has_meter_ = false;
  std::optional<Instrument> instrument_;
  std::string identity_;
};

}  // namespace

std::optional<std::chrono::milliseconds> read_talk_timeout(Table& bus) {
  if (!bus.has("timeout_seconds")) return std::nullopt;
  return read_timeout(bus, timeout_seconds_most);
}

std::chrono::milliseconds usual_timeout(std::chrono::milliseconds stale_after) {
  using namespace std::chrono_literals;
  return std::clamp<std::chrono::milliseconds>(stale_after / 2, 500ms, 3s);
}

std::unique_ptr<BusReader> begin_tcp(Table& bus) {
  TcpEnd end = read_tcp_end(bus, port_default);
  return std::make_unique<Reader>(std::move(end), read_talk_timeout(bus));
}

std::unique_ptr<BusReader> begin_serial(Table& bus) {
  wire::SerialEnd end = wire::read_serial_end(bus, serial_default);
  return std::make_unique<Reader>(std::move(end), read_talk_timeout(bus));
}

}  // namespace steadyglow::drivers::lines
