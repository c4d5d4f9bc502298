#include "drivers/sysfs/bus_toml.hpp"

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "drivers/parsed_once.hpp"
#include "drivers/sysfs/instrument_toml.hpp"
#include "drivers/sysfs/sysfs_bus.hpp"

namespace steadyglow::drivers::sysfs {
namespace {

using document::Table;

class Reader final : public BusReader {
 public:
  explicit Reader(std::string root) : root_(std::move(root)) {}

  void read_meter(Table& table, const InstrumentText* instrument, MeterInfo& info, Errors& errors) override {
    MeterSetup setup;
    setup.name = info.name;
    setup.rom = table.maybe_text("rom").value_or("");
    setup.chip = table.maybe_text("chip").value_or("");
    setup.device = table.maybe_text("device").value_or("");
    if (instrument == nullptr) return;
    const std::optional<Instrument>& parsed = instruments_.get(*instrument, errors, parse_instrument);
    if (!parsed) return;
    if (parsed->kind == Kind::w1) check_rom(table, setup, info);
    else check_chip(table, setup, info);
    for (const Channel& channel : parsed->channels) info.channels.push_back({channel.name, channel.quantity, channel.uom});
    setup.instrument = *parsed;
    meters_.push_back(std::move(setup));
  }

  std::string where() const override { return root_; }

  std::function<std::unique_ptr<Bus>()> maker() const override {
    return [root = root_, meters = meters_]() -> std::unique_ptr<Bus> { return std::make_unique<SysfsBus>(root, meters); };
  }

 private:
  /// Its rom is both where it is found and who it is.
  void check_rom(Table& table, MeterSetup& setup, MeterInfo& info) {
    for (const std::string_view key : {"chip", "device"})
      if (table.has(key)) table.mistake(key, "a 1-Wire thermometer is found by its rom alone", "remove the line");
    if (!is_w1_rom(setup.rom))
      return table.mistake("rom", setup.rom.empty() ? "`rom` is missing" : "`" + setup.rom + "` is no 1-Wire number", "write it as the kernel does: rom = \"28-0316a2795cff\"; `steadyglow devices` lists what is there");
    if (!info.identity.empty() && info.identity != setup.rom) table.mistake("identity", "a thermometer is who its rom says: `" + setup.rom + "`", "remove the line");
    info.identity = setup.rom;
    const auto [first, is_new] = roms_.emplace(setup.rom, info.name);
    if (!is_new) table.mistake("rom", "`" + setup.rom + "` is already meter `" + first->second + "`", "two points of one thermometer share its meter");
  }

  void check_chip(Table& table, MeterSetup& setup, const MeterInfo& info) {
    setup.identity = info.identity;
    if (table.has("rom")) table.mistake("rom", "only a 1-Wire thermometer has a rom", "remove the line");
    if (setup.chip.empty() && setup.device.empty()) table.mistake("chip", "nothing says which device is meant", "chip = \"the word in its name file\", or device = \"the end of its path\"; `steadyglow devices` prints both");
    if (setup.device.starts_with("hwmon") || setup.device.starts_with("iio:device") || setup.device.find("/hwmon/hwmon") != std::string::npos)
      table.mistake("device", "`" + setup.device + "` may be another device after the next restart", "the device that it belongs to, as in platform/board.656");
  }

  const std::string root_;
  std::vector<MeterSetup> meters_;
  std::map<std::string, std::string> roms_;
  ParsedOnce<Instrument> instruments_;
};

}  // namespace

std::unique_ptr<BusReader> begin(Table& bus) {
  std::string root = bus.maybe_text("root").value_or("/sys");
  if (root.empty() || root.front() != '/') bus.mistake("root", "`" + root + "` is not a full path", "leave it out: the kernel's tree is /sys");
  return std::make_unique<Reader>(std::move(root));
}

}  // namespace steadyglow::drivers::sysfs
