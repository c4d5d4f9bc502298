#include "drivers/registry.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <map>
#include <memory>
#include <string_view>

#include "drivers/frames/bus_toml.hpp"
#include "drivers/gpio/bus_toml.hpp"
#include "drivers/instrument_toml.hpp"
#include "drivers/lines/bus_toml.hpp"
#include "drivers/modbus/bus_toml.hpp"
#include "drivers/mqtt/bus_toml.hpp"
#include "drivers/scpi/bus_toml.hpp"
#include "drivers/sysfs/bus_toml.hpp"

namespace steadyglow::drivers {
namespace {

using document::Table;

struct DriverEntry {
  std::string_view word;
  std::unique_ptr<BusReader> (*begin)(Table& bus);
};

// One line per driver.
constexpr std::array<DriverEntry, 12> registry{{
    {"modbus_tcp", modbus::begin_tcp},
    {"modbus_rtu", modbus::begin_rtu},
    {"scpi_tcp", scpi::begin_tcp},
    {"scpi_serial", scpi::begin_serial},
    {"scpi_usbtmc", scpi::begin_usbtmc},
    {"lines_tcp", lines::begin_tcp},
    {"lines_serial", lines::begin_serial},
    {"frames_tcp", frames::begin_tcp},
    {"frames_serial", frames::begin_serial},
    {"sysfs", sysfs::begin},
    {"mqtt", mqtt::begin},
    {"gpio", gpio::begin},
}};

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

/// A full-date of RFC 3339, which sorts as a text does; empty when it is not stated or no date.
std::string read_date(Table& table, std::string_view key) {
  const std::string text = table.maybe_text(key).value_or("");
  if (text.empty()) return text;
  constexpr std::size_t length = 10, first_dash = 4, second_dash = 7;
  int figures[3] = {};
  bool is_date = text.size() == length && text[first_dash] == '-' && text[second_dash] == '-';
  for (std::size_t i = 0, part = 0; is_date && i < length; ++i) {
    if (i == first_dash || i == second_dash) {
      ++part;
      continue;
    }
    is_date = text[i] >= '0' && text[i] <= '9';
    figures[part] = 10 * figures[part] + (text[i] - '0');
  }
  using namespace std::chrono;
  if (is_date && year_month_day{year{figures[0]}, month{static_cast<unsigned>(figures[1])}, day{static_cast<unsigned>(figures[2])}}.ok()) return text;
  table.mistake(key, "`" + text + "` is no date", "write it as \"2026-01-31\"");
  return {};
}

/// Its figures are in the channels' uom, so they all must have the same, unless it is a share of the reading alone.
std::optional<MeterAccuracy> read_accuracy(Table& meter, const std::vector<ChannelInfo>& channels) {
  auto table = meter.maybe_table("accuracy");
  if (!table) return std::nullopt;
  constexpr document::Range percent{0.0, 50.0}, figure{0.0, 1e6};
  const MeterAccuracy accuracy{.percent_of_reading = table->maybe_number("percent_of_reading", percent).value_or(0.0),
                               .counts = table->maybe_number("counts", {0.0, 10000.0}).value_or(0.0),
                               .resolution = table->maybe_number("resolution", figure).value_or(0.0),
                               .percent_of_range = table->maybe_number("percent_of_range", percent).value_or(0.0),
                               .range = table->maybe_number("range", figure).value_or(0.0),
                               .fixed = table->maybe_number("fixed", figure).value_or(0.0)};
  table->done();
  if ((accuracy.counts > 0.0 && accuracy.resolution == 0.0) || (accuracy.percent_of_range > 0.0) != (accuracy.range > 0.0)) {
    meter.mistake("accuracy", "half of it is missing", "`counts` wants `resolution`, and `percent_of_range` wants `range`");
    return std::nullopt;
  }
  const bool has_figures = accuracy.resolution > 0.0 || accuracy.range > 0.0 || accuracy.fixed > 0.0;
  if (!has_figures && accuracy.percent_of_reading == 0.0) {
    meter.mistake("accuracy", "`accuracy` says nothing", "write what the data sheet says: { percent_of_reading = 0.5, counts = 3, resolution = 0.001 } or { fixed = 1.5 }");
    return std::nullopt;
  }
  const bool is_mixed = std::any_of(channels.begin(), channels.end(), [&](const ChannelInfo& channel) { return channel.uom != channels.front().uom; });
  if (has_figures && is_mixed) {
    meter.mistake("accuracy", "its channels have different units of measure, so nobody knows which these figures are in", "state the accuracy at the points of the profile instead");
    return std::nullopt;
  }
  return accuracy;
}

MeterInfo read_meter(Table& table, BusReader& reader, InstrumentShelf& shelf, Errors& errors) {
  MeterInfo meter;
  meter.name = read_name(table, "meter", "analog_a");
  meter.instrument = table.text("instrument");
  meter.identity = table.maybe_text("identity").value_or("");
  const double seconds = table.maybe_number("poll_seconds", {poll_seconds_min, poll_seconds_max}).value_or(1.0);
  meter.poll_period = std::chrono::milliseconds{static_cast<std::int64_t>(seconds * 1000.0 + 0.5)};
  reader.read_meter(table, shelf.text_for(table, meter.instrument), meter, errors);
  meter.papers.serial = table.maybe_text("serial").value_or("");
  meter.papers.identification = table.maybe_text("identification").value_or("");
  meter.papers.calibrated = read_date(table, "calibrated");
  meter.papers.calibration_due = read_date(table, "calibration_due");
  if (!meter.papers.calibrated.empty() && !meter.papers.calibration_due.empty() && meter.papers.calibration_due < meter.papers.calibrated)
    table.mistake("calibration_due", "it would be due before it was calibrated", "swap them?");
  meter.papers.accuracy = read_accuracy(table, meter.channels);
  table.done();
  return meter;
}

}  // namespace

std::optional<BusSpec> read_bus(Table& bus, const InstrumentFinder& find, Errors& errors) {
  const std::size_t errors_before = errors.size();
  BusSpec spec;
  spec.name = read_name(bus, "bus", "bench_1");
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
  spec.cut_doubt = reader->cut_doubt();
  spec.make = reader->maker();
  return spec;
}

}  // namespace steadyglow::drivers
