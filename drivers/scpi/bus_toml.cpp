#include "drivers/scpi/bus_toml.hpp"

#include <optional>
#include <utility>

#include "drivers/parsed_once.hpp"
#include "drivers/scpi/answer.hpp"
#include "drivers/scpi/find.hpp"
#include "drivers/scpi/instrument_toml.hpp"
#include "drivers/scpi/scpi_bus.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using document::Table;

constexpr std::chrono::milliseconds usbtmc_timeout_least{300};

class Reader final : public BusReader {
 public:
  Reader(wire::Place place, std::chrono::milliseconds timeout) : place_(std::move(place)), timeout_(timeout) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    const auto terminator = read_terminator(table);
    if (!info.identity.empty() && !is_identity(info.identity))
      table.mistake("identity", "`" + info.identity + "` is no answer to *IDN?", "maker, model and serial number as `steadyglow probe` prints them; the firmware may be left out");
    if (std::exchange(has_meter_, true)) {
      table.mistake("name", "a second meter on one SCPI connection", "SCPI has no addresses: give each instrument a [[bus]] of its own");
      return;
    }
    if (instrument == nullptr) return;
    const std::optional<Instrument>& parsed = instrument_.get(*instrument, errors, parse_instrument);
    if (!parsed) return;
    for (const Channel& channel : parsed->channels) info.channels.push_back(info_of(channel));
    for (const Output& output : parsed->outputs) info.outputs.push_back(output.name);
    setup_ = {info.name, *parsed, info.identity};
    if (terminator) setup_.instrument.terminator = *terminator;
  }

  std::string where() const override { return wire::shown(place_); }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [place = place_, setup = setup_, timeout = timeout_]() -> std::unique_ptr<Bus> { return std::make_unique<ScpiBus>(place, setup, timeout); };
  }

 private:
  wire::Place place_;
  std::chrono::milliseconds timeout_;
  ScpiSetup setup_;
  bool has_meter_ = false;
  ParsedOnce<Instrument> instrument_;
};

}  // namespace

std::unique_ptr<BusReader> begin_tcp(Table& bus) {
  TcpEnd end = read_tcp_end(bus, scpi_port);
  return std::make_unique<Reader>(std::move(end), read_timeout(bus, timeout_seconds_default));
}

std::unique_ptr<BusReader> begin_serial(Table& bus) {
  // 9600 baud, no parity, 8 bits: common practice for instruments, no source.
  wire::SerialEnd end = wire::read_serial_end(bus, {.device = {}, .baud = 9600});
  return std::make_unique<Reader>(std::move(end), read_timeout(bus, timeout_seconds_default));
}

std::unique_ptr<BusReader> begin_usbtmc(Table& bus) {
  wire::UsbTmc end{read_device(bus)};
  const auto timeout = read_timeout(bus, timeout_seconds_default);
  if (timeout < usbtmc_timeout_least) bus.mistake("timeout_seconds", "too short for a USB instrument", "0.3 or more: the kernel counts in steps of 0.1 s");
  return std::make_unique<Reader>(std::move(end), timeout);
}

}  // namespace steadyglow::drivers::scpi
