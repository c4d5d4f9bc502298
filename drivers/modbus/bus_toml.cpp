#include "drivers/modbus/bus_toml.hpp"

#include <arpa/inet.h>

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include "drivers/modbus/instrument_toml.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using document::Range;
using document::Table;

constexpr std::array baud_rates{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200};
/// MODBUS over Serial Line V1.02, section 2.2: devices 1 to 247, 0 is the broadcast.
constexpr Range serial_addresses{1.0, 247.0};
/// MODBUS Messaging on TCP/IP: the unit identifier; 255 (or 0) addresses the TCP device itself.
constexpr Range tcp_addresses{0.0, 255.0};

class Reader final : public BusReader {
 public:
  Reader(std::variant<TcpEnd, SerialLine> end, std::chrono::milliseconds timeout) : end_(std::move(end)), timeout_(timeout) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    MeterSetup setup;
    setup.name = info.name;
    const bool is_serial = std::holds_alternative<SerialLine>(end_);
    const std::size_t errors_before = errors.size();
    const int unit = table.whole("address", is_serial ? serial_addresses : tcp_addresses);
    setup.unit = static_cast<std::uint8_t>(unit);
    if (errors.size() == errors_before) check_address(table, unit, info.name);
    if (instrument == nullptr) return;
    const std::optional<Instrument>& parsed = parse_once(*instrument, errors);
    if (!parsed) return;
    for (const Channel& channel : parsed->channels) info.channels.push_back({channel.name, channel.quantity, channel.uom});
    for (const Output& output : parsed->outputs) info.outputs.push_back(output.name);
    setup.instrument = *parsed;
    meters_.push_back(std::move(setup));
  }

  std::string where() const override {
    if (const auto* line = std::get_if<SerialLine>(&end_)) return line->device;
    const TcpEnd& end = std::get<TcpEnd>(end_);
    return end.host + ":" + std::to_string(end.port);
  }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [end = end_, meters = meters_, timeout = timeout_]() -> std::unique_ptr<Bus> {
      return std::visit([&](const auto& place) -> std::unique_ptr<Bus> { return std::make_unique<ModbusBus>(place, meters, timeout); }, end);
    };
  }

 private:
  void check_address(Table& table, int unit, const std::string& name) {
    const auto [first, is_new] = addresses_.emplace(unit, name);
    if (!is_new)
      table.mistake("address", "address " + std::to_string(unit) + " is already meter `" + first->second + "` on this bus",
                    "two devices with one address talk over each other; one device needs one instrument file");
  }

  /// An instrument is parsed once for all meters of the bus, and each of its mistakes is reported once for all buses.
  const std::optional<Instrument>& parse_once(const InstrumentText& instrument, Errors& errors) {
    const auto known = instruments_.find(instrument.file);
    if (known != instruments_.end()) return known->second;
    Errors found;
    auto parsed = parse_instrument(instrument.text, instrument.file, found);
    for (Error& error : found) {
      const bool is_known = std::any_of(errors.begin(), errors.end(), [&](const Error& e) { return e.where == error.where && e.message == error.message; });
      if (!is_known) errors.push_back(std::move(error));
    }
    return instruments_.emplace(instrument.file, std::move(parsed)).first->second;
  }

  std::variant<TcpEnd, SerialLine> end_;
  std::chrono::milliseconds timeout_;
  std::vector<MeterSetup> meters_;
  std::map<int, std::string> addresses_;
  std::map<std::string, std::optional<Instrument>> instruments_;
};

std::chrono::milliseconds read_timeout(Table& bus) {
  const double seconds = bus.maybe_number("timeout_seconds", {timeout_seconds_min, timeout_seconds_max}).value_or(timeout_seconds_default);
  return std::chrono::milliseconds{static_cast<std::int64_t>(seconds * 1000.0 + 0.5)};
}

bool is_ipv4(const std::string& text) {
  in_addr address{};
  return inet_pton(AF_INET, text.c_str(), &address) == 1;
}

}  // namespace

std::unique_ptr<BusReader> begin_tcp(Table& bus) {
  TcpEnd end;
  end.host = bus.text("host");
  if (!end.host.empty() && !is_ipv4(end.host))
    bus.mistake("host", "`" + end.host + "` is not an IPv4 address", "give the device a fixed address and write it here: looking up a name could block the bus");
  end.port = bus.maybe_whole("port", {1.0, 65535.0}).value_or(end.port);
  return std::make_unique<Reader>(std::move(end), read_timeout(bus));
}

std::unique_ptr<BusReader> begin_rtu(Table& bus) {
  SerialLine line;
  line.device = bus.text("device");
  if (!line.device.empty() && line.device.front() != '/')
    bus.mistake("device", "`" + line.device + "` is not a full path", "use a name that stays, as in /dev/serial/by-id/...");
  line.baud = bus.maybe_whole("baud").value_or(line.baud);
  if (std::find(baud_rates.begin(), baud_rates.end(), line.baud) == baud_rates.end())
    bus.mistake("baud", std::to_string(line.baud) + " is no baud rate known here", "one of: 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200");
  const std::string parity = bus.maybe_word("parity", {"none", "even", "odd"}).value_or("even");
  line.parity = parity == "none" ? Parity::none : parity == "odd" ? Parity::odd : Parity::even;
  line.stop_bits = bus.maybe_whole("stop_bits", {1.0, 2.0}).value_or(line.stop_bits);
  return std::make_unique<Reader>(std::move(line), read_timeout(bus));
}

}  // namespace steadyglow::drivers::modbus
