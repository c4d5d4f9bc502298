#include "drivers/lines/talk_toml.hpp"

#include <algorithm>
#include <string>
#include <utility>

#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::lines {
namespace {

using document::Table;
using std::chrono::milliseconds;

class TalkReader final : public BusReader {
 public:
  TalkReader(wire::Place place, std::optional<milliseconds> timeout, ReadTalker read) : place_(std::move(place)), timeout_(timeout), read_(read) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    if (std::exchange(has_meter_, true)) return table.mistake("name", "this device has a line of its own and no address", "one [[bus.meter]] a bus: write another [[bus]] for `" + info.name + "`");
    auto talker = read_(table, instrument, info, errors);
    if (!talker) return;
    talker->options.timeout = timeout_.value_or(usual_timeout(talker->options.stale_after));
    talker_ = std::move(*talker);
  }

  std::string where() const override { return wire::shown(place_); }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [place = place_, talker = talker_]() -> std::unique_ptr<Bus> { return std::make_unique<TalkBus>(place, talker.make(), talker.options); };
  }

 private:
  wire::Place place_;
  std::optional<milliseconds> timeout_;
  ReadTalker read_;
  bool has_meter_ = false;
  Talker talker_;
};

std::optional<milliseconds> read_talk_timeout(Table& bus) {
  if (!bus.has("timeout_seconds")) return std::nullopt;
  return read_timeout(bus, timeout_seconds_most);
}

}  // namespace

std::unique_ptr<BusReader> begin_talk_tcp(Table& bus, ReadTalker read) {
  TcpEnd end = read_tcp_end(bus, port_default);
  return std::make_unique<TalkReader>(std::move(end), read_talk_timeout(bus), read);
}

std::unique_ptr<BusReader> begin_talk_serial(Table& bus, const SerialLine& defaults, ReadTalker read) {
  wire::SerialEnd end = wire::read_serial_end(bus, defaults);
  return std::make_unique<TalkReader>(std::move(end), read_talk_timeout(bus), read);
}

milliseconds usual_timeout(milliseconds stale_after) {
  using namespace std::chrono_literals;
  return std::clamp<milliseconds>(stale_after / 2, 500ms, 3s);
}

}  // namespace steadyglow::drivers::lines
