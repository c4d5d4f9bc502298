#include "drivers/modbus/bus_toml.hpp"

#include <map>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include "drivers/parsed_once.hpp"
#include "drivers/modbus/instrument_toml.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using document::Range;
using document::Table;

/// MODBUS over Serial Line V1.02, section 2.2: devices 1 to 247, 0 is the broadcast.
constexpr Range serial_addresses{1.0, 247.0};
/// MODBUS Messaging on TCP/IP: the unit identifier; 255 (or 0) addresses the TCP device itself.
constexpr Range tcp_addresses{0.0, 255.0};

/// The longest silence that a slow device may ask for before its next request.
constexpr double pause_seconds_max = 2.0;

class Reader final : public BusReader {
 public:
  Reader(TcpEnd end, std::chrono::milliseconds timeout) : end_(std::move(end)), timeout_(timeout) {}
  Reader(SerialLine line, LineManners manners, std::chrono::milliseconds timeout) : end_(std::move(line)), manners_(manners), timeout_(timeout) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    MeterSetup setup;
    setup.name = info.name;
    const bool is_serial = std::holds_alternative<SerialLine>(end_);
    const std::size_t errors_before = errors.size();
    const int unit = table.whole("address", is_serial ? serial_addresses : tcp_addresses);
    setup.unit = static_cast<std::uint8_t>(unit);
    if (errors.size() == errors_before) check_address(table, unit, info.name);
    info.at = "address " + std::to_string(unit);
    setup.pause = std::chrono::milliseconds{static_cast<std::int64_t>(table.maybe_number("pause_seconds", {0.0, pause_seconds_max}).value_or(0.0) * 1000.0 + 0.5)};
    setup.identity = info.identity;
    if (instrument == nullptr) return;
    const std::optional<Instrument>& parsed = instruments_.get(*instrument, errors, parse_instrument);
    if (!parsed) return;
    for (const Channel& channel : parsed->channels) info.channels.push_back(info_of(channel));
    for (const Output& output : parsed->outputs) info.outputs.push_back(output.name);
    check_identity(table, *parsed, instrument->file);
    setup.instrument = *parsed;
    meters_.push_back(std::move(setup));
  }

  std::string where() const override {
    if (const auto* line = std::get_if<SerialLine>(&end_)) return line->device;
    const TcpEnd& end = std::get<TcpEnd>(end_);
    return end.host + ":" + std::to_string(end.port);
  }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [end = end_, manners = manners_, meters = meters_, timeout = timeout_]() -> std::unique_ptr<Bus> {
      if (const auto* line = std::get_if<SerialLine>(&end)) return std::make_unique<ModbusBus>(*line, meters, timeout, manners);
      return std::make_unique<ModbusBus>(std::get<TcpEnd>(end), meters, timeout);
    };
  }

 private:
  void check_address(Table& table, int unit, const std::string& name) {
    const auto [first, is_new] = addresses_.emplace(unit, name);
    if (!is_new)
      table.mistake("address", "address " + std::to_string(unit) + " is already meter `" + first->second + "` on this bus",
                    "two devices with one address talk over each other; one device needs one instrument file");
  }

  /// A meter can be bound to one device only if the device can be asked which one it is.
  static void check_identity(Table& table, const Instrument& instrument, const std::string& file) {
    if (!table.has("identity")) return;
    if (instrument.identity.source == IdentityRule::Source::none)
      table.mistake("identity", file + " does not say how to ask such a device who it is", "add [instrument.identity] to it, as the device's manual describes, or remove `identity` and bind the bus to its by-id path");
    else if (instrument.identity.is)
      table.mistake("identity", file + " names a type code that every such device has: it tells no two of them apart", "remove `identity`; the type code is checked without it");
  }

  std::variant<TcpEnd, SerialLine> end_;
  LineManners manners_{};
  std::chrono::milliseconds timeout_;
  std::vector<MeterSetup> meters_;
  std::map<int, std::string> addresses_;
  ParsedOnce<Instrument> instruments_;
};

}  // namespace

std::unique_ptr<BusReader> begin_tcp(Table& bus) {
  TcpEnd end = read_tcp_end(bus, modbus_port);
  return std::make_unique<Reader>(std::move(end), read_timeout(bus, timeout_seconds_default));
}

std::unique_ptr<BusReader> begin_rtu(Table& bus) {
  SerialLine line = read_serial_line(bus, serial_default, false);
  LineManners manners;
  const std::string rts = bus.maybe_word("rts", {"none", "before", "after"}).value_or("none");
  manners.rts = rts == "before" ? Rts::before : rts == "after" ? Rts::after : Rts::none;
  manners.echo = bus.maybe_flag("echo").value_or(false);
  return std::make_unique<Reader>(std::move(line), manners, read_timeout(bus, timeout_seconds_default));
}

}  // namespace steadyglow::drivers::modbus
