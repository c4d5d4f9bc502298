#include "drivers/sysfs/bus_toml.hpp"

#include <algorithm>
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

/// The end of a path, at a whole step.
bool is_end_of(const std::string& end, const std::string& path) { return path == end || path.ends_with("/" + end); }

/// Nothing that stands in the configuration tells the two apart: they are one device, or one of the two is never certain which it is.
bool may_be_one(const MeterSetup& a, const MeterSetup& b) {
  if (a.instrument.kind != b.instrument.kind) return false;
  if (!a.identity.empty() && a.identity == b.identity) return true;
  const bool has_chips = !a.chip.empty() && !b.chip.empty(), has_devices = !a.device.empty() && !b.device.empty();
  if (has_chips && a.chip != b.chip) return false;
  if (has_devices) return is_end_of(a.device, b.device) || is_end_of(b.device, a.device);
  return has_chips;
}

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
    setup.instrument = *parsed;
    if (parsed->kind == Kind::w1) check_rom(table, setup, info);
    else check_chip(table, setup, info);
    for (const Channel& channel : parsed->channels) info.channels.push_back(info_of(channel));
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
    info.identity = info.at = setup.rom;
    const auto [first, is_new] = roms_.emplace(setup.rom, info.name);
    if (!is_new) table.mistake("rom", "`" + setup.rom + "` is already meter `" + first->second + "`", "two points of one thermometer share its meter");
  }

  void check_chip(Table& table, MeterSetup& setup, MeterInfo& info) {
    setup.identity = info.identity;
    info.at = std::string(setup.instrument.kind == Kind::hwmon ? "hwmon" : "iio") + (setup.chip.empty() ? "" : " " + setup.chip) + (setup.device.empty() ? "" : " " + setup.device);
    if (table.has("rom")) table.mistake("rom", "only a 1-Wire thermometer has a rom", "remove the line");
    if (setup.chip.empty() && setup.device.empty()) table.mistake("chip", "nothing says which device is meant", "chip = \"the word in its name file\", or device = \"the end of its path\"; `steadyglow devices` prints both");
    if (setup.device.starts_with("hwmon") || setup.device.starts_with("iio:device") || setup.device.find("/hwmon/hwmon") != std::string::npos)
      table.mistake("device", "`" + setup.device + "` may be another device after the next restart", "the device that it belongs to, as in platform/board.656");
    const auto twin = std::find_if(meters_.begin(), meters_.end(), [&](const MeterSetup& other) { return may_be_one(setup, other); });
    if (twin != meters_.end())
      table.mistake(setup.chip.empty() ? "device" : "chip", "this is meter `" + twin->name + "` already, or may be", "one device is one meter: give its points to that one; where two have one name, `device` at both");
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
