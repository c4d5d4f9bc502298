#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <utility>
#include <vector>

#include "app/check_points.hpp"
#include "app/conversions.hpp"
#include "app/point_chain.hpp"
#include "app/readiness.hpp"
#include "app/settings.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;

std::string channel(const std::string& name, int address, const std::string& quantity, const std::string& uom, const std::string& rest) {
  return "[[channel]]\nname = \"" + name + "\"\ntable = \"input\"\naddress = " + std::to_string(address) + "\ntype = \"int16\"\nquantity = \"" + quantity + "\"\nuom = \"" + uom + "\"\n" + rest + "\n";
}

const std::string instrument = "[instrument]\ntitle = \"Module\"\nprotocol = \"modbus\"\n" +
                               channel("ch1", 0, "voltage", "V", "scale = 0.0003125\nplausible = { low = -10.24, high = 10.24 }") +
                               channel("ch2", 1, "voltage", "V", "scale = 0.0003125\nplausible = { low = -10.24, high = 10.24 }") +
                               channel("micro", 2, "voltage", "uV", "scale = 2.0\nplausible = { low = -60000.0, high = 60000.0 }") +
                               channel("ohms", 3, "resistance", "Ohm", "scale = 0.1\nplausible = { low = 0.0, high = 400.0 }") +
                               channel("terminals", 4, "temperature", "Cel", "scale = 0.1\nplausible = { low = -20.0, high = 90.0 }") +
                               channel("mains", 5, "voltage", "V", "scale = 0.1\nplausible = { low = 0.0, high = 300.0 }");

std::string point(const std::string& name, const std::string& quantity, const std::string& uom, const std::string& role, const std::string& rest) {
  return "[[point]]\nname = \"" + name + "\"\nquantity = \"" + quantity + "\"\nuom = \"" + uom + "\"\nrole = \"" + role + "\"\n" + rest + "\n";
}

const std::string b_plus = point("b_plus", "voltage", "V", "supply", "nominal = 452.0\nwarn = { low = 430.0, high = 475.0 }\ntrip = { high = 520.0 }");
const std::string bias = point("bias", "voltage", "mV", "bias", "nominal = 38.0\nwarn = { low = 30.0, high = 46.0 }\ntrip = { high = 57.0 }");
const std::string offset_point = point("offset_mv", "voltage", "mV", "offset", "warn = { low = -50.0, high = 50.0 }\ntrip = { low = -300.0, high = 300.0 }");
const std::string sink = point("sink", "temperature", "Cel", "heatsink", "nominal = 45.0\nwarn = { high = 60.0 }\ntrip = { high = 75.0 }");
const std::string mains = point("mains_volts", "voltage", "V", "mains_voltage", "nominal = 230.0");

std::string wired(const std::string& name, const std::string& channel_name, const std::string& rest = "") {
  return "[[unit.point]]\nname = \"" + name + "\"\nchannel = \"module." + channel_name + "\"\n" + rest + "\n";
}

class ChainSettings : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::temp_directory_path() / ("steadyglow-chains-" + std::to_string(::getpid()));
    for (const char* sub : {"instruments", "profiles", "plans"}) fs::create_directories(folder_ / sub);
    write("instruments/module.toml", instrument);
    write("plans/short.toml", "[plan]\ntitle = \"short\"\n[[stage]]\nkind = \"baseline\"\nminutes = 30\n[[stage]]\nkind = \"idle_soak\"\nminutes = 60\n");
  }
  void TearDown() override { fs::remove_all(folder_); }
  void write(const std::string& name, const std::string& text) { std::ofstream(folder_ / name) << text; }
  std::string bus(const std::string& name, const std::string& end, const std::string& meter) const {
    return "[[bus]]\nname = \"" + name + "\"\n" + end + "[[bus.meter]]\nname = \"" + meter + "\"\ninstrument = \"module\"\naddress = 1\npoll_seconds = 2.0\n" + papers;
  }
  static std::string unit(const std::string& name, const std::string& points) { return "[[unit]]\nname = \"" + name + "\"\nprofile = \"kind\"\nplan = \"short\"\n" + points; }
  std::optional<Settings> load_text(const std::string& text) {
    write("bench.toml", "[daemon]\nstore = \"s.db\"\nlisten = \"127.0.0.1:8460\"\n" + text);
    errors.clear();
    return load_settings((folder_ / "bench.toml").string(), errors);
  }
  /// One unit whose profile has these points.
  std::optional<Settings> load(const std::string& profile_points, const std::string& wires) {
    write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + profile_points);
    return load_text(bus("line", tcp, "module") + unit("one", wires));
  }
  std::optional<Settings> load_two(const std::string& profile_points, const std::string& wires) {
    write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + profile_points);
    return load_text(bus("line", tcp, "module") + unit("one", wires) + unit("two", wires));
  }
  std::string said() const {
    std::string text;
    for (const Error& error : errors) text += error.text() + "\n";
    return text;
  }
  bool says(const std::string& part) const { return said().find(part) != std::string::npos; }
  std::string checked(const Settings& settings, const std::string& today = "2026-06-01") const {
    std::string text;
    for (const std::string& line : chain_lines(settings, today)) text += line + "\n";
    return text;
  }

  fs::path folder_;
  Errors errors;
  const std::string tcp = "driver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = 1502\n";
  std::string papers;
};

const std::string divider = "divider = { upper_ohms = 4e6, lower_ohms = 33200, meter_ohms = 100e3, tolerance_percent = 1.0 }";
const std::string type_k = "thermocouple = { type = \"K\", class = 1, cold_junction = \"module.terminals\" }";

// ---- read and bound -------------------------------------------------------------------------------------------------

TEST_F(ChainSettings, AThermocoupleIsBoundToWhatMeasuresItsTerminals) {
  const auto settings = load(sink, wired("sink", "micro", type_k));
  ASSERT_TRUE(settings) << said();
  const PointBinding& binding = settings->units[0].points.at(0);
  ASSERT_TRUE(binding.junction);
  EXPECT_EQ(binding.junction->channel, 4u);
  EXPECT_EQ(binding.junction->age_max, 6s);  // three polls of two seconds
}

TEST_F(ChainSettings, TerminalsThatAreNoTemperatureAreRefused) {
  EXPECT_FALSE(load(sink, wired("sink", "micro", "thermocouple = { type = \"K\", cold_junction = \"module.ch1\" }")));
  EXPECT_TRUE(says("`module.ch1` measures voltage, and the terminals' temperature is wanted")) << said();
}

TEST_F(ChainSettings, AThermocoupleInAnRtdSlotIsRefusedWithItsPlace) {
  EXPECT_FALSE(load(sink, wired("sink", "ohms", type_k)));
  EXPECT_TRUE(says("bench.toml:") && says("an RTD slot gives ohms, and a thermocouple wants volts")) << said();
}

TEST_F(ChainSettings, TheMainsOfABenchMayStandBehindATransformer) {
  write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + bias);
  const std::string bench = "[[bench]]\nname = \"bench 1\"\n[bench.mains]\nchannel = \"module.ch2\"\nscale = 24.0\naccept = { low = 0.0, high = 12.0 }\n";
  std::string one = unit("one", wired("bias", "ch1"));
  one.insert(one.find("plan ="), "bench = \"bench 1\"\n");
  const auto settings = load_text(bus("line", tcp, "module") + bench + one);
  ASSERT_TRUE(settings) << said();
  const auto& mains_binding = settings->benches[0].mains;
  ASSERT_TRUE(mains_binding);
  EXPECT_DOUBLE_EQ(sensor::convert(mains_binding->chain, 9.6, Quality::good).value, 230.4);
  EXPECT_EQ(sensor::convert(mains_binding->chain, 12.1, Quality::good).quality, Quality::over_range);
  EXPECT_NE(checked(*settings).find("bench 1 (bench)"), std::string::npos) << checked(*settings);
  EXPECT_NE(checked(*settings).find("scale × 24"), std::string::npos) << checked(*settings);
}

// As the head of that file says: its inputs give 1 for a loop that is closed, and smoke is what is not 0.
TEST_F(ChainSettings, TheSmokeLoopOfTheContactModuleIsTurnedRound) {
  write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + bias);
  fs::copy_file(std::string(STEADYGLOW_SOURCE_DIR) + "/config/instruments/contacts-8ch.toml", folder_ / "instruments/contacts-8ch.toml", fs::copy_options::overwrite_existing);
  const std::string contacts = "[[bus.meter]]\nname = \"contacts\"\ninstrument = \"contacts-8ch\"\naddress = 2\n";
  const std::string bench = "[[bench]]\nname = \"bench 1\"\n[bench.smoke]\nchannel = \"contacts.in_1\"\nscale = -1\noffset = 1\n";
  std::string one = unit("one", wired("bias", "ch1"));
  one.insert(one.find("plan ="), "bench = \"bench 1\"\n");
  const auto settings = load_text(bus("line", tcp, "module") + contacts + bench + one);
  ASSERT_TRUE(settings) << said();
  const auto& smoke = settings->benches[0].smoke;
  ASSERT_TRUE(smoke);
  EXPECT_EQ(sensor::convert(smoke->chain, 1.0, Quality::good).value, 0.0);
  EXPECT_EQ(sensor::convert(smoke->chain, 0.0, Quality::good).value, 1.0);
  const std::string told = checked(*settings);
  EXPECT_NE(told.find("if it reads 1   all is well"), std::string::npos) << told;
  EXPECT_NE(told.find("if it reads 0   SMOKE, heat or a broken wire"), std::string::npos) << told;
}

// ---- a chain that cannot be meant -------------------------------------------------------------------------------------

TEST_F(ChainSettings, ANominalValueOutOfReachIsRefusedWithTheSlip) {
  EXPECT_FALSE(load(b_plus, wired("b_plus", "ch1", "scale = 0.1215")));
  EXPECT_TRUE(says("with this chain the channel can never read 452.0 V: its range is ±10.24 V × 0.1215")) << said();
  EXPECT_TRUE(says("did you mean scale = 121.5?")) << said();
}

TEST_F(ChainSettings, ABiasThatTheRangeNeverReachesIsRefused) {
  EXPECT_FALSE(load(bias, wired("bias", "ch1", "scale = 0.001")));
  EXPECT_TRUE(says("can never read 38.00 mV")) << said();
}

TEST_F(ChainSettings, LimitsThatAreAllOutOfReachAreRefused) {
  EXPECT_FALSE(load(offset_point, wired("offset_mv", "ch1", "scale = 0.000001")));
  EXPECT_TRUE(says("can never read any limit of `offset_mv`")) << said();
}

TEST_F(ChainSettings, ANegativeSupplyOnAPositiveScaleSaysSo) {
  EXPECT_FALSE(load(b_plus, wired("b_plus", "ch1", "scale = -121.5\naccept = { low = 0.0 }")));
  EXPECT_TRUE(says("did you mean scale = 121.5?")) << said();
}

// 10.24 V times 48 are 491.5 V: at 530 V the reading is none, and while others read nothing would be cut.
TEST_F(ChainSettings, AProtectivePointThatCanNeverTripIsRefused) {
  EXPECT_FALSE(load(b_plus, wired("b_plus", "ch1", "scale = 48.0")));
  EXPECT_TRUE(says("bench.toml:") && says("`b_plus` protects the unit, but its channel can never show it beyond the trip limit 520.0 V: its range is ±10.24 V × 48")) << said();
  EXPECT_TRUE(says("nothing is cut: set the limit inside it")) << said();
}

// The range ends where the limit is: on a limit is not beyond it.
TEST_F(ChainSettings, ATripLimitAtTheEndOfTheRangeNeverTripsEither) {
  const auto with_trip = [](const std::string& trip) { return point("b_plus", "voltage", "V", "supply", "nominal = 5.0\ntrip = { " + trip + " }"); };
  EXPECT_FALSE(load(with_trip("high = 10.24"), wired("b_plus", "ch1")));
  EXPECT_FALSE(load(with_trip("low = -10.24"), wired("b_plus", "ch1")));
  EXPECT_FALSE(load(with_trip("high = 10.24"), wired("b_plus", "ch1", "scale = -1.0"))) << "wherever the wires are";
  EXPECT_TRUE(load(with_trip("low = -10.23, high = 10.23"), wired("b_plus", "ch1"))) << said();
}

TEST_F(ChainSettings, AnInformativePointThatCanNeverTripIsNotedAndKeepsTheUnitFromBeingLeft) {
  const auto settings = load(b_plus + "protective = false\n" + bias, wired("b_plus", "ch1", "scale = 48.0") + wired("bias", "ch2"));
  ASSERT_TRUE(settings) << said();
  EXPECT_NE(checked(*settings).find("! its channel can never show it beyond the trip limit 520.0 V: its range is ±10.24 V × 48"), std::string::npos) << checked(*settings);
  const auto list = ready_to_leave(settings->units[0], nullptr, {}, "Ada", {});
  const auto limits = std::find_if(list.begin(), list.end(), [](const ReadyItem& item) { return item.key == "limits"; });
  ASSERT_NE(limits, list.end());
  EXPECT_EQ(limits->answer, Answer::no);
  EXPECT_NE(limits->reason.find("b_plus never trips: its channel can never show it beyond the trip limit 520.0 V"), std::string::npos) << limits->reason;
  EXPECT_EQ(limits->reason.find("bias"), std::string::npos) << limits->reason;
  EXPECT_NE(limits->action.find("set the trip limit inside the range of its channel"), std::string::npos) << limits->action;
}

// ---- two on one -----------------------------------------------------------------------------------------------------

TEST_F(ChainSettings, TwoPointsOnOneChannelAreRefused) {
  EXPECT_FALSE(load(bias + offset_point, wired("bias", "ch1") + wired("offset_mv", "ch1")));
  EXPECT_TRUE(says("`module.ch1` is already `bias` of unit `one`") && says("write shared = true at both")) << said();
  EXPECT_FALSE(load(bias + offset_point, wired("bias", "ch1", "shared = true") + wired("offset_mv", "ch1"))) << "one of them says nothing";
  EXPECT_TRUE(load(bias + offset_point, wired("bias", "ch1", "shared = true") + wired("offset_mv", "ch1", "shared = true"))) << said();
}

TEST_F(ChainSettings, TwoUnitsOnOneChannelAreRefusedButShareTheirMains) {
  EXPECT_FALSE(load_two(bias, wired("bias", "ch1")));
  EXPECT_TRUE(says("`module.ch1` is already `bias` of unit `one`")) << said();
  EXPECT_TRUE(load_two(mains, wired("mains_volts", "mains"))) << said();
}

TEST_F(ChainSettings, TwoBusesOnOneSerialDeviceAreRefusedByWhateverName) {
  write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + bias);
  const std::string line = "driver = \"modbus_rtu\"\ndevice = \"/dev/serial/by-id/usb-adapter\"\nbaud = 9600\n";
  EXPECT_FALSE(load_text(bus("a", line, "module") + bus("b", line, "other") + unit("one", wired("bias", "ch1"))));
  EXPECT_TRUE(says("bus `a` has this device already")) << said();
}

TEST_F(ChainSettings, TwoBusesAtOneEndpointAreNoted) {
  write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + bias);
  std::string second = bus("b", tcp, "other");
  second.replace(second.find("address = 1"), 11, "address = 2");
  const auto settings = load_text(bus("a", tcp, "module") + second + unit("one", wired("bias", "ch1")));
  ASSERT_TRUE(settings) << said();
  EXPECT_NE(checked(*settings).find("note: buses `a` and `b` both end at 127.0.0.1:1502"), std::string::npos);
}

// ---- what check prints ------------------------------------------------------------------------------------------------

TEST_F(ChainSettings, CheckShowsAWorkedNumberWithItsUncertainty) {
  papers = "calibrated = \"2025-01-31\"\ncalibration_due = \"2026-01-31\"\naccuracy = { fixed = 0.003 }\n";
  write("instruments/module.toml", "[instrument]\ntitle = \"Module\"\nprotocol = \"modbus\"\n" + channel("ch1", 0, "voltage", "V", "scale = 0.0003125\nplausible = { low = -10.24, high = 10.24 }"));
  const auto settings = load(b_plus, wired("b_plus", "ch1", divider));
  ASSERT_TRUE(settings) << said();
  const std::string text = checked(*settings);
  // 452 V over 161.48; u: 3 mV / sqrt(3) times 161.48 and sqrt(2) times 1 % over sqrt(3), k = 2.
  EXPECT_NE(text.find("2.799 V"), std::string::npos) << text;
  EXPECT_NE(text.find("± 7.357 V"), std::string::npos) << text;
  EXPECT_NE(text.find("divider 4 MΩ over 33.2 kΩ ±1 % with 100 kΩ input: × 161.5"), std::string::npos) << text;
  EXPECT_NE(text.find("CAUTION, lethal voltage"), std::string::npos) << text;
  EXPECT_NE(text.find("calibrated 2025-01-31, due 2026-01-31: OVERDUE"), std::string::npos) << text;
  EXPECT_EQ(checked(*settings, "2026-01-31").find("OVERDUE"), std::string::npos) << "due on the day is not over it";
}

TEST_F(ChainSettings, CheckKeepsToAHundredColumns) {
  const auto settings = load(b_plus + sink + offset_point, wired("b_plus", "ch1", divider) + wired("sink", "micro", type_k) + wired("offset_mv", "ch2"));
  ASSERT_TRUE(settings) << said();
  for (const std::string& line : chain_lines(*settings, "2026-06-01")) {
    const auto columns = std::count_if(line.begin(), line.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0u) != 0x80u; });
    EXPECT_LE(columns, 100) << line;
  }
}

// Whatever the chain: what the page of check works out, the daemon's own conversion gives too.
TEST_F(ChainSettings, TheWorkedNumberIsWhatTheDaemonWouldSay) {
  const auto settings = load(b_plus + sink + bias, wired("b_plus", "ch1", divider) + wired("sink", "micro", type_k) + wired("bias", "ch2"));
  ASSERT_TRUE(settings) << said();
  const UnitSettings& unit = settings->units[0];
  Conversions conversions(unit.points, 1.0);
  drivers::MeterReply reply;
  reply.channels.assign(6, {});
  reply.channels[4] = {sensor::junction_assumed.value, Quality::good};
  conversions.hear(0, 0, reply, 1s);
  for (std::size_t i = 0; i < unit.points.size(); ++i) {
    const auto worked = work(*settings, unit, unit.points[i]);
    ASSERT_TRUE(worked);
    const auto converted = conversions.convert(i, {worked->raw, Quality::good}, 1s);
    EXPECT_EQ(converted.quality, Quality::good);
    EXPECT_DOUBLE_EQ(converted.value, worked->value);
    EXPECT_NEAR(worked->value, *unit.profile.point(unit.points[i].point).nominal, 1e-9);
  }
}

// ---- the page for a technician -----------------------------------------------------------------------------------------

/// What stands in the fenced blocks of a page that begin with "```toml MARK".
std::vector<std::pair<std::string, std::string>> blocks_of(const std::string& file) {
  std::ifstream page(file);
  std::vector<std::pair<std::string, std::string>> blocks;
  bool is_inside = false;
  for (std::string line; std::getline(page, line);) {
    const std::string fence = "```toml ";
    if (!is_inside && line.starts_with(fence)) blocks.emplace_back(line.substr(fence.size()), "");
    else if (is_inside && !line.starts_with("```")) blocks.back().second += line + "\n";
    if (line.starts_with("```")) is_inside = line.starts_with(fence);
  }
  return blocks;
}

TEST_F(ChainSettings, EveryMeterOfThePageDescribeYourOwnIsRead) {
  write("profiles/kind.toml", "[profile]\nkind = \"x\"\n" + bias);
  std::string buses;
  std::size_t instruments = 0;
  for (const auto& [mark, text] : blocks_of(std::string(STEADYGLOW_SOURCE_DIR) + "/config/instruments/DESCRIBE-YOUR-OWN.md")) {
    if (mark == "bus") buses += text;
    else write("instruments/" + mark.substr(std::string("file=").size()) + ".toml", text), ++instruments;
  }
  EXPECT_EQ(instruments, 3u);
  const auto settings = load_text(buses + unit("one", "[[unit.point]]\nname = \"bias\"\nchannel = \"inputs.ch1\"\n"));
  ASSERT_TRUE(settings) << said();
  EXPECT_EQ(settings->buses.size(), 3u);
  for (const auto& one : settings->buses) EXPECT_TRUE(std::isfinite(one.meters.at(0).channels.at(0).plausible_high)) << one.name << ": whatever its protocol, its band is known";
}

TEST_F(ChainSettings, EveryStepOfThePageDescribeYourOwnIsRead) {
  std::ifstream page(std::string(STEADYGLOW_SOURCE_DIR) + "/config/instruments/DESCRIBE-YOUR-OWN.md");
  std::size_t read = 0;
  for (std::string line; std::getline(page, line);) {
    if (!line.starts_with("| `")) continue;
    const std::string words = line.substr(3, line.find('`', 3) - 3);
    if (words.find(" = {") == std::string::npos) continue;
    const std::string key = words.substr(0, words.find(' '));
    const bool is_warm = key == "thermocouple" || key == "platinum" || key == "thermistor";
    const bool is_current = key == "shunt" || key == "transformer";
    std::string text = words;
    if (const auto at = text.find("inputs.terminals"); at != std::string::npos) text.replace(at, 16, "module.terminals");
    const std::string current = point("draw", "current", "mA", "supply_current", "");
    const std::string volts = point("volts", "voltage", "V", "other", "");
    const std::string warm = point("sink", "temperature", "Cel", "heatsink", "");
    const std::string channel_name = key == "platinum" || key == "thermistor" ? "ohms" : key == "thermocouple" ? "micro" : "ch1";
    EXPECT_TRUE(load(is_warm ? warm : is_current ? current : volts, wired(is_warm ? "sink" : is_current ? "draw" : "volts", channel_name, text))) << words << "\n" << said();
    ++read;
  }
  EXPECT_EQ(read, 7u);
}

// ---- the record -----------------------------------------------------------------------------------------------------

TEST_F(ChainSettings, TheRecordKnowsTheChainAndItsUncertainty) {
  papers = "accuracy = { percent_of_reading = 0.1 }\n";
  const auto settings = load(b_plus + sink, wired("b_plus", "ch1", divider) + wired("sink", "micro", type_k));
  ASSERT_TRUE(settings) << said();
  const auto back = record::wiring_from_json(record::to_json_text(settings->units[0].wiring));
  ASSERT_TRUE(back);
  const record::Wire* wire = back->find("b_plus");
  EXPECT_EQ(wire->chain, "divider 4 MΩ over 33.2 kΩ ±1 % with 100 kΩ input: × 161.5");
  // 0.1 % and sqrt(2) x 1 %, each over sqrt(3), of 452 V.
  EXPECT_NEAR(*wire->standard_uncertainty(452.0), 452.0 * std::hypot(0.001, 0.01 * std::sqrt(2.0) * 0.99381) / std::sqrt(3.0), 0.01);
  const record::Wire* warm = back->find("sink");
  ASSERT_TRUE(warm->standard_uncertainty(45.0));
  EXPECT_GT(*warm->standard_uncertainty(45.0), 1.5 / std::sqrt(3.0)) << "class 1 of type K alone is so much";
}

// A divider of 1 % is off by 1 % wherever it reads, whatever anybody knew of the point: sqrt(2) x 1 % over sqrt(3), k = 1.
TEST_F(ChainSettings, TheRecordKnowsTheUncertaintyOfWhateverTheChannelCanSay) {
  papers = "accuracy = { percent_of_reading = 0.1 }\n";
  write("instruments/module.toml", "[instrument]\ntitle = \"Module\"\nprotocol = \"modbus\"\n" + channel("ch1", 0, "voltage", "V", "scale = 0.0003125"));
  const auto endless = load(point("volts", "voltage", "V", "other", ""), wired("volts", "ch1", divider));
  ASSERT_TRUE(endless) << said();
  const double share = std::hypot(0.001, 0.01 * std::sqrt(2.0) * 0.99381) / std::sqrt(3.0);
  for (const double volts : {-2000.0, -450.0, 0.7, 12.0, 450.0, 5000.0}) {
    const auto doubt = endless->units[0].wiring.find("volts")->standard_uncertainty(volts);
    ASSERT_TRUE(doubt) << volts;
    EXPECT_NEAR(*doubt, std::fabs(volts) * share, 1e-5 * std::fabs(volts)) << volts;
  }
}

TEST_F(ChainSettings, TheRecordStatesNothingBeyondWhatTheChannelCanSay) {
  papers = "accuracy = { percent_of_reading = 0.1 }\n";
  const auto settings = load(point("volts", "voltage", "V", "other", ""), wired("volts", "ch1", divider));
  ASSERT_TRUE(settings) << said();
  const record::Wire* wire = settings->units[0].wiring.find("volts");
  EXPECT_TRUE(wire->standard_uncertainty(1653.0)) << "10.24 V times 161.5";
  EXPECT_TRUE(wire->standard_uncertainty(-1653.0));
  EXPECT_FALSE(wire->standard_uncertainty(1655.0));
}

TEST_F(ChainSettings, TheRecordKnowsTheUncertaintyOfAHotSensorOfWhichNoLimitIsKnown) {
  papers = "accuracy = { percent_of_reading = 0.1 }\n";
  const auto settings = load(point("warm", "temperature", "Cel", "heatsink", ""), wired("warm", "ohms", "platinum = { at_zero_ohms = 100, wires = 4, class = \"B\" }"));
  ASSERT_TRUE(settings) << said();
  const record::Wire* wire = settings->units[0].wiring.find("warm");
  // 0.1 % of the ohms, and class B: 0.3 K + 0.005 |t|; ohms and ohms per kelvin from the equation of IEC 60751.
  const auto expected = [](double celsius, double ohms, double per_kelvin) { return std::hypot(0.001 * ohms / per_kelvin, 0.3 + 0.005 * celsius) / std::sqrt(3.0); };
  ASSERT_TRUE(wire->standard_uncertainty(80.0) && wire->standard_uncertainty(200.0));
  EXPECT_NEAR(*wire->standard_uncertainty(80.0), expected(80.0, 130.90, 0.3816), 0.01);
  EXPECT_NEAR(*wire->standard_uncertainty(200.0), expected(200.0, 175.86, 0.3677), 0.01);
  EXPECT_FALSE(wire->standard_uncertainty(860.0)) << "such a sensor ends at 850 degC";
}

// 0.1 % of 5 V is 5 mV at the meter and 0.1 V at the point, which stands at 50 V: not 0.1 % of 50 V.
TEST_F(ChainSettings, BehindAnOffsetAShareOfTheReadingIsNotOneOfTheValue) {
  papers = "accuracy = { percent_of_reading = 0.1 }\n";
  const auto settings = load(point("volts", "voltage", "V", "other", "nominal = 50.0"), wired("volts", "ch1", "scale = 20\noffset = -50"));
  ASSERT_TRUE(settings) << said();
  const auto doubt = settings->units[0].wiring.find("volts")->standard_uncertainty(50.0);
  ASSERT_TRUE(doubt);
  EXPECT_NEAR(2.0 * *doubt, 2.0 * 0.1 / std::sqrt(3.0), 1e-6);
  const auto worked = work(*settings, settings->units[0], settings->units[0].points[0]);
  ASSERT_TRUE(worked && worked->expanded_uncertainty);
  EXPECT_NEAR(*worked->expanded_uncertainty, 2.0 * *doubt, 1e-6) << "check and the record say the same";
}

// ---- terminals while it runs ------------------------------------------------------------------------------------------

class Terminals : public ChainSettings {
 protected:
  void SetUp() override {
    ChainSettings::SetUp();
    settings = load(sink, wired("sink", "micro", type_k));
    ASSERT_TRUE(settings) << said();
  }
  static drivers::MeterReply terminals_read(double celsius, Quality quality = Quality::good) {
    drivers::MeterReply reply;
    reply.channels.assign(6, {});
    reply.channels[4] = {celsius, quality};
    return reply;
  }
  static constexpr double microvolts = 900.0;
  std::optional<Settings> settings;
};

TEST_F(Terminals, ThatWereNeverReadGiveNoTemperature) {
  const Conversions conversions(settings->units[0].points, 1.0);
  EXPECT_EQ(conversions.convert(0, {microvolts, Quality::good}, 10s).quality, Quality::stale);
}

TEST_F(Terminals, AreBelievedForThreeOfTheirPolls) {
  Conversions conversions(settings->units[0].points, 1.0);
  conversions.hear(0, 0, terminals_read(23.0), 10s);
  EXPECT_EQ(conversions.convert(0, {microvolts, Quality::good}, 16s).quality, Quality::good);
  EXPECT_EQ(conversions.convert(0, {microvolts, Quality::good}, 16s + 1ms).quality, Quality::stale);
}

TEST_F(Terminals, KeepTheirLastGoodFigureOverABadOne) {
  Conversions conversions(settings->units[0].points, 1.0);
  conversions.hear(0, 0, terminals_read(23.0), 10s);
  conversions.hear(0, 0, terminals_read(0.0, Quality::no_answer), 12s);
  EXPECT_NEAR(conversions.convert(0, {microvolts, Quality::good}, 12s).value, 45.2, 0.5);
}

TEST_F(Terminals, OfAnotherMeterAreForgotten) {
  Conversions conversions(settings->units[0].points, 1.0);
  conversions.hear(0, 0, terminals_read(23.0), 10s);
  conversions.hear(0, 0, terminals_read(60.0, Quality::other_meter), 12s);
  EXPECT_EQ(conversions.convert(0, {microvolts, Quality::good}, 12s).quality, Quality::stale);
}

TEST_F(Terminals, AgeInRunTimeWhereTheClockIsFaster) {
  Conversions conversions(settings->units[0].points, 100.0);
  conversions.hear(0, 0, terminals_read(23.0), 10s);
  EXPECT_EQ(conversions.convert(0, {microvolts, Quality::good}, 10s + 59ms).quality, Quality::good);
  EXPECT_EQ(conversions.convert(0, {microvolts, Quality::good}, 10s + 61ms).quality, Quality::stale);
}

}  // namespace
}  // namespace steadyglow::app
