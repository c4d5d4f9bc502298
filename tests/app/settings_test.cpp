#include "app/settings.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

constexpr const char* instrument = R"(
[instrument]
title = "Module"
protocol = "modbus"
[[channel]]
name = "ch1"
table = "input"
address = 0
type = "int16"
scale = 0.001
quantity = "voltage"
uom = "V"
[[output]]
name = "outlet_1"
coil = 0
[[output]]
name = "contactor_1"
coil = 8
[[output]]
name = "watchdog"
coil = 9
)";

constexpr const char* profile_text = R"(
[profile]
kind = "line-preamp"
[[point]]
name = "rail_plus"
quantity = "voltage"
uom = "mV"
role = "supply"
)";

constexpr const char* plan_text = R"(
[plan]
title = "short"
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 60
)";

constexpr const char* good = R"([daemon]
store = "steadyglow.db"
listen = "127.0.0.1:8460"
[[bus]]
name = "tcp"
driver = "modbus_tcp"
host = "127.0.0.1"
port = 1502
timeout_seconds = 0.5
[[bus.meter]]
name = "analog"
instrument = "module"
address = 1
poll_seconds = 1.0
[[unit]]
name = "hollin"
profile = "preamp"
plan = "short"
[unit.outlet]
meter = "analog"
output = "outlet_1"
[[unit.point]]
name = "rail_plus"
channel = "analog.ch1"
)";

class SettingsFile : public testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::temp_directory_path() / ("steadyglow-settings-" + std::to_string(::getpid()));
    for (const char* sub : {"instruments", "profiles", "plans"}) fs::create_directories(folder_ / sub);
    write("instruments/module.toml", instrument);
    write("profiles/preamp.toml", profile_text);
    write("plans/short.toml", plan_text);
  }
  void TearDown() override { fs::remove_all(folder_); }
  void write(const std::string& name, const std::string& text) { std::ofstream(folder_ / name) << text; }
  std::optional<Settings> load(const std::string& text) {
    write("bench.toml", text);
    errors.clear();
    return load_settings((folder_ / "bench.toml").string(), errors);
  }
  std::string with(const std::string& from, const std::string& to) const {
    std::string text = good;
    text.replace(text.find(from), from.size(), to);
    return text;
  }
  std::string said() const {
    std::string text;
    for (const Error& error : errors) text += error.text() + "\n";
    return text;
  }

  fs::path folder_;
  Errors errors;
};

TEST_F(SettingsFile, BindsAPointToItsChannelWithTheRightFactor) {
  const auto settings = load(good);
  ASSERT_TRUE(settings.has_value()) << said();
  ASSERT_EQ(settings->units.at(0).points.size(), 1u);
  EXPECT_DOUBLE_EQ(settings->units[0].points[0].factor, 1000.0);  // volts to millivolts
  EXPECT_TRUE(settings->units[0].outlet.has_value());
}

TEST_F(SettingsFile, TellsEveryMistakeAtOnceWithItsPlace) {
  const auto settings = load(with("listen = \"127.0.0.1:8460\"", "listn = \"127.0.0.1:8460\"") + "[[unit]]\nname = \"hollin\"\nprofile = \"nowhere\"\nplan = 7\n");
  EXPECT_FALSE(settings.has_value());
  EXPECT_NE(said().find("bench.toml:3:1: error: unknown key `listn` hint: did you mean `listen`?"), std::string::npos) << said();
  EXPECT_NE(said().find("unit `hollin` stands here twice"), std::string::npos) << said();
  EXPECT_NE(said().find("profile `nowhere` cannot be read"), std::string::npos) << said();
  EXPECT_NE(said().find("`plan` must be a text, not a whole number"), std::string::npos) << said();
}

TEST_F(SettingsFile, AMetersPapersComeIntoTheWiringOfItsUnits) {
  const auto settings = load(with("poll_seconds = 1.0\n", "poll_seconds = 1.0\nserial = \"A8-1\"\ncalibrated = \"2025-11-03\"\ncalibration_due = \"2026-11-03\"\naccuracy = { percent_of_reading = 0.5 }\n"));
  ASSERT_TRUE(settings.has_value()) << said();
  const auto& wiring = settings->units.front().wiring;
  const auto* wire = wiring.find("rail_plus");
  ASSERT_NE(wire, nullptr);
  EXPECT_EQ(wiring.meters[wire->meter].serial, "A8-1");
  EXPECT_EQ(wiring.meters[wire->meter].calibration_due, "2026-11-03");
  ASSERT_TRUE(wire->accuracy);
  EXPECT_DOUBLE_EQ(wire->accuracy->percent_of_reading, 0.5);
}

TEST_F(SettingsFile, ACalibrationOnADayThatIsNoneIsAMistake) {
  EXPECT_FALSE(load(with("poll_seconds = 1.0\n", "poll_seconds = 1.0\ncalibrated = \"2025-02-30\"\naccuracy = { counts = 3 }\n")).has_value());
  EXPECT_NE(said().find("`2025-02-30` is no date"), std::string::npos) << said();
  EXPECT_NE(said().find("half of it is missing"), std::string::npos) << said();
}

TEST_F(SettingsFile, NamesAMissingInstrumentAndTheOneThatWasProbablyMeant) {
  EXPECT_FALSE(load(with("instrument = \"module\"", "instrument = \"modul\"")).has_value());
  EXPECT_NE(said().find("bench.toml:12:"), std::string::npos) << said();
  EXPECT_NE(said().find("instrument `modul` cannot be read"), std::string::npos) << said();
  EXPECT_NE(said().find("did you mean \"module\"?"), std::string::npos) << said();
  EXPECT_EQ(said().find("no meter"), std::string::npos) << "one mistake is enough: " << said();
}

TEST_F(SettingsFile, RefusesToBeReachableWithoutAPassword) {
  EXPECT_FALSE(load(with("127.0.0.1:8460", "0.0.0.0:8460")).has_value());
  EXPECT_NE(said().find("no password is set"), std::string::npos);
}

TEST_F(SettingsFile, AUnitStartsByItselfInTheDemoAlone) {
  const std::string starts = with("plan = \"short\"", "plan = \"short\"\nstart = \"at_once\"");
  EXPECT_FALSE(load(starts).has_value());
  EXPECT_TRUE(load(starts + "[demo]\nclock_rate = 100.0\n").has_value()) << said();
}

TEST_F(SettingsFile, WantsEveryPointOfTheProfileConnected) {
  EXPECT_FALSE(load(with("name = \"rail_plus\"", "name = \"rail_pluss\"")).has_value());
  EXPECT_NE(said().find("did you mean `rail_plus`?"), std::string::npos) << said();
  EXPECT_NE(said().find("is not connected"), std::string::npos) << said();
}

TEST_F(SettingsFile, DoesNotMixQuantities) {
  write("profiles/preamp.toml", "[profile]\nkind = \"x\"\n[[point]]\nname = \"rail_plus\"\nquantity = \"current\"\nuom = \"A\"\nrole = \"supply_current\"\n");
  EXPECT_FALSE(load(good).has_value());
  EXPECT_NE(said().find("measures voltage, but `rail_plus` is current"), std::string::npos) << said();
}

TEST_F(SettingsFile, OneOutletIsForOneUnit) {
  std::string two = good;
  two += std::string("[[unit]]\nname = \"other\"\nprofile = \"preamp\"\nplan = \"short\"\n[unit.outlet]\nmeter = \"analog\"\noutput = \"outlet_1\"\n[[unit.point]]\nname = \"rail_plus\"\nchannel = \"analog.ch1\"\n");
  EXPECT_FALSE(load(two).has_value());
  EXPECT_NE(said().find("another unit or a bench has this outlet already"), std::string::npos) << said();
}

TEST_F(SettingsFile, OneDeviceIsOneMeterAlsoOverTwoBuses) {
  const std::string second = "[[bus]]\nname = \"again\"\ndriver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = 1502\n[[bus.meter]]\nname = \"twin\"\ninstrument = \"module\"\naddress = ";
  EXPECT_TRUE(load(good + second + "2\n").has_value()) << said();
  EXPECT_FALSE(load(good + second + "1\n").has_value());
  EXPECT_NE(said().find("address 1 at 127.0.0.1:1502 is already `analog` on bus `tcp`"), std::string::npos) << said();
}

TEST_F(SettingsFile, AnOutletOnLinesOfThisMachineIsNeverTheOnlyCut) {
  write("instruments/lines.toml", "[instrument]\nprotocol = \"gpio\"\n[[output]]\nname = \"outlet\"\nline = 4\n");
  const std::string chip = "[[bus]]\nname = \"header\"\ndriver = \"gpio\"\nchip = \"pinctrl-demo\"\n[[bus.meter]]\nname = \"lines\"\ninstrument = \"lines\"\n";
  EXPECT_FALSE(load(with("meter = \"analog\"\noutput = \"outlet_1\"", "meter = \"lines\"\noutput = \"outlet\"") + chip).has_value());
  EXPECT_NE(said().find("no watchdog that opens them"), std::string::npos) << said();
}

TEST_F(SettingsFile, AProbeNeedsNoUnits) {
  const std::string text = good;
  write("bench.toml", text.substr(0, text.find("[[unit]]")));
  EXPECT_FALSE(load_settings((folder_ / "bench.toml").string(), errors).has_value());
  errors.clear();
  EXPECT_TRUE(load_settings((folder_ / "bench.toml").string(), errors, false).has_value()) << said();
}

constexpr const char* bench_text = R"([[bench]]
name = "bench 1"
breaker_amperes = 16.0
[bench.contactor]
meter = "analog"
output = "contactor_1"
[bench.watchdog]
meter = "analog"
output = "watchdog"
every_seconds = 2.0
drops_after_seconds = 10.0
)";

TEST_F(SettingsFile, ReadsABenchAndFindsItsUnits) {
  const auto settings = load(with("plan = \"short\"", "plan = \"short\"\nbench = \"bench 1\"") + bench_text);
  ASSERT_TRUE(settings.has_value()) << said();
  EXPECT_EQ(settings->units[0].bench_index, 0u);
  EXPECT_TRUE(settings->benches.at(0).contactor.has_value());
  EXPECT_DOUBLE_EQ(settings->benches[0].breaker_share, 0.8);
}

TEST_F(SettingsFile, AUnitStandsAtABenchThatIsDescribed) {
  EXPECT_FALSE(load(with("plan = \"short\"", "plan = \"short\"\nbench = \"bench 2\"") + bench_text).has_value());
  EXPECT_NE(said().find("there is no bench `bench 2` hint: known: bench 1"), std::string::npos) << said();
}

TEST_F(SettingsFile, TheContactorIsNobodysOutlet) {
  std::string text = with("output = \"outlet_1\"", "output = \"contactor_1\"");
  text.replace(text.find("plan = \"short\""), 14, "plan = \"short\"\nbench = \"bench 1\"");
  EXPECT_FALSE(load(text + bench_text).has_value());
  EXPECT_NE(said().find("another unit or a bench has this outlet already"), std::string::npos) << said();
}

TEST_F(SettingsFile, AWatchdogMustStandOneLateWrite) {
  std::string text = with("plan = \"short\"", "plan = \"short\"\nbench = \"bench 1\"") + bench_text;
  text.replace(text.find("every_seconds = 2.0"), 19, "every_seconds = 9.0");
  EXPECT_FALSE(load(text).has_value());
  EXPECT_NE(said().find("the device would drop after a single late write"), std::string::npos) << said();
}

}  // namespace
}  // namespace steadyglow::app
