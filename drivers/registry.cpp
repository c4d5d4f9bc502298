#include "drivers/registry.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>
#include <memory>
#include <string_view>

#include "drivers/modbus/bus_toml.hpp"

namespace steadyglow::drivers {
namespace {

using document::Table;

struct DriverEntry {
  std::string_view word;
  std::unique_ptr<BusReader> (*begin)(Table& bus);
};

// One line per driver.
constexpr std::array<DriverEntry, 2> registry{{
    {"modbus_tcp", modbus::begin_tcp},
    {"modbus_rtu", modbus::begin_rtu},
}};

constexpr std::size_t name_length_max = 64;

bool is_name(std::string_view text) {
  const auto fits = [](unsigned char c) { return std::islower(c) != 0 || std::isdigit(c) != 0 || c == '_'; };
  return !text.empty() && text.size() <= name_length_max && std::all_of(text.begin(), text.end(), fits);
}

std::string read_name(Table& table, std::string_view what) {
  std::string name = table.text("name");
  if (!name.empty() && !is_name(name))
    table.mistake("name", "`" + name + "` is not a name for a " + std::string(what), "use a-z, 0-9 and _ only, as in analog_a");
  return name;
}

/// The text of each instrument, asked for once per bus; a failure is reported at every meter that wants it.
class InstrumentShelf {
 public:
  explicit InstrumentShelf(const InstrumentFinder& find) : find_(find) {}

  const InstrumentText* text_for(Table& meter, const std::string& name) {
    if (name.empty()) return nullptr;
    auto place = texts_.find(name);
    if (place == texts_.end()) place = texts_.emplace(name, find_(name)).first;
    if (place->second) return &*place->second;
    meter.mistake("instrument", place->second.error().message, place->second.error().hint);
    return nullptr;
  }

 private:
  const InstrumentFinder& find_;
  std::map<std::string, Result<InstrumentText>> texts_;
};

std::unique_ptr<BusReader> begin(Table& bus, std::string& word) {
  std::vector<std::string_view> words;
  for (const DriverEntry& entry : registry) words.push_back(entry.word);
  word = bus.word("driver", words);
  for (const DriverEntry& entry : registry)
    if (entry.word == word) return entry.begin(bus);
  return nullptr;
}

MeterInfo read_meter(Table& table, BusReader& reader, InstrumentShelf& shelf, Errors& errors) {
  MeterInfo meter;
  meter.name = read_name(table, "meter");
  meter.instrument = table.text("instrument");
  const double seconds = table.maybe_number("poll_seconds", {poll_seconds_min, poll_seconds_max}).value_or(1.0);
  meter.poll_period = std::chrono::milliseconds{static_cast<std::int64_t>(seconds * 1000.0 + 0.5)};
  reader.read_meter(table, shelf.text_for(table, meter.instrument), meter, errors);
  table.done();
  return meter;
}

}  // namespace

std::optional<BusSpec> read_bus(Table& bus, const InstrumentFinder& find, Errors& errors) {
  const std::size_t errors_before = errors.size();
  BusSpec spec;
  spec.name = read_name(bus, "bus");
  const auto reader = begin(bus, spec.driver);
  auto tables = bus.tables("meter");
  // Without a driver nobody knows the other keys: to call them unknown would hide the one real mistake.
  if (!reader) return std::nullopt;
  bus.done();
  if (tables.empty()) bus.mistake("meter", "a bus needs at least one [[bus.meter]]");
  if (tables.size() > meters_per_bus_max)
    bus.mistake("meter", std::to_string(tables.size()) + " meters are more than " + std::to_string(meters_per_bus_max));
  InstrumentShelf shelf(find);
  std::map<std::string, document::Place> seen;
  for (Table& table : tables) {
    spec.meters.push_back(read_meter(table, *reader, shelf, errors));
    const auto [first, is_new] = seen.emplace(spec.meters.back().name, table.place("name"));
    if (!is_new && !first->first.empty())
      table.mistake("name", "meter `" + first->first + "` stands here twice", "the first is at line " + std::to_string(first->second.line));
  }
  if (errors.size() > errors_before) return std::nullopt;
  spec.where = reader->where();
  spec.make = reader->maker();
  return spec;
}

}  // namespace steadyglow::drivers
