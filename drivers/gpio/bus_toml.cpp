#include "drivers/gpio/bus_toml.hpp"

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "drivers/gpio/gpio_bus.hpp"
#include "drivers/gpio/instrument_toml.hpp"
#include "drivers/parsed_once.hpp"

namespace steadyglow::drivers::gpio {
namespace {

using document::Table;

class Reader final : public BusReader {
 public:
  explicit Reader(std::string label) : label_(std::move(label)) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    if (!info.identity.empty()) table.mistake("identity", "a contact cannot be asked who it is", "leave it out: the chip is found by its label");
    if (instrument == nullptr) return;
    const std::optional<Instrument>& parsed = instruments_.get(*instrument, errors, parse_instrument);
    if (!parsed) return;
    for (const Line& line : parsed->inputs) {
      check_line(table, line, info.name);
      info.channels.push_back({line.name, Quantity::state, "1"});
    }
    for (const Line& line : parsed->outputs) {
      check_line(table, line, info.name);
      info.outputs.push_back(line.name);
    }
    meters_.push_back({info.name, *parsed});
  }

  std::string where() const override { return label_; }
  std::string cut_doubt() const override {
    return "a machine that hangs, or kills this program, leaves its lines as they stood, and the chip has no watchdog that opens them";
  }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [label = label_, meters = meters_]() -> std::unique_ptr<Bus> { return std::make_unique<GpioBus>(label, meters); };
  }

 private:
  void check_line(Table& table, const Line& line, const std::string& meter) {
    const std::string name = meter + "." + line.name;
    const auto [first, is_new] = lines_.emplace(line.number, name);
    if (!is_new) table.mistake("instrument", "line " + std::to_string(line.number) + " is both `" + first->second + "` and `" + name + "`", "one line has one wire");
  }

  const std::string label_;
  std::vector<MeterSetup> meters_;
  std::map<unsigned, std::string> lines_;
  ParsedOnce<Instrument> instruments_;
};

}  // namespace

std::unique_ptr<BusReader> begin(Table& bus) {
  std::string label = bus.text("chip");
  if (label.starts_with("gpiochip") || label.starts_with("/dev/"))
    bus.mistake("chip", "`" + label + "` may be another chip after the next restart", "the chip's label; `steadyglow devices` prints it");
  return std::make_unique<Reader>(std::move(label));
}

}  // namespace steadyglow::drivers::gpio
