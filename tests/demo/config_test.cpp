/// What lies in config/ and demo/ is read without a mistake, and the daemon's own driver reads from the bench what it truly has.
#include <gtest/gtest.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "app/settings.hpp"
#include "demo/bench/bench_server.hpp"
#include "drivers/frames/instrument_toml.hpp"
#include "drivers/gpio/instrument_toml.hpp"
#include "drivers/lines/instrument_toml.hpp"
#include "drivers/modbus/instrument_toml.hpp"
#include "drivers/mqtt/instrument_toml.hpp"
#include "drivers/scpi/instrument_toml.hpp"
#include "drivers/sysfs/instrument_toml.hpp"
#include "flat_night.hpp"
#include "profile/profile_toml.hpp"

namespace steadyglow::demo {
namespace {

std::string all_of(const Errors& errors) {
  std::string text;
  for (const Error& error : errors) text += error.text() + "\n";
  return text;
}

/// Reads every .toml of a folder with `parse`; the number of files comes back.
template <class Parse>
int read_folder(const std::string& folder, Parse parse) {
  int count = 0;
  for (const auto& entry : std::filesystem::directory_iterator(std::string(STEADYGLOW_SOURCE_DIR) + "/" + folder)) {
    if (entry.path().extension() != ".toml") continue;
    const std::string file = folder + "/" + entry.path().filename().string();
    Errors errors;
    EXPECT_TRUE(parse(source_file(file), file, errors).has_value());
    EXPECT_EQ(all_of(errors), "");
    ++count;
  }
  return count;
}

TEST(Config, EveryProfileIsGood) { EXPECT_GE(read_folder("config/profiles", profile::parse_profile), 16); }

TEST(Config, EveryPlanIsGood) {
  EXPECT_GE(read_folder("config/plans", profile::parse_plan), 2);
  EXPECT_GE(read_folder("demo/plans", profile::parse_plan), 1);
}

/// By the driver that its protocol names.
std::optional<bool> read_instrument(std::string_view text, std::string_view file, Errors& errors) {
  const auto by = [&](std::string_view protocol, auto parse) -> std::optional<bool> {
    if (text.find("\nprotocol = \"" + std::string(protocol) + "\"") == std::string_view::npos) return std::nullopt;
    return parse(text, file, errors).has_value();
  };
  namespace d = drivers;
  for (const auto is_good : {by("modbus", d::modbus::parse_instrument), by("scpi", d::scpi::parse_instrument), by("lines", d::lines::parse_instrument), by("frames", d::frames::parse_instrument),
                             by("sysfs", d::sysfs::parse_instrument), by("mqtt", d::mqtt::parse_instrument), by("gpio", d::gpio::parse_instrument)})
    if (is_good) return *is_good ? is_good : std::nullopt;
  return std::nullopt;
}

TEST(Config, EveryInstrumentIsGood) { EXPECT_GE(read_folder("config/instruments", read_instrument), 24); }

TEST(Config, EveryLimitSaysWhereItComesFrom) {
  for (const auto& entry : std::filesystem::directory_iterator(std::string(STEADYGLOW_SOURCE_DIR) + "/config/profiles")) {
    Errors errors;
    const auto profile = profile::parse_profile(source_file("config/profiles/" + entry.path().filename().string()), "p", errors);
    ASSERT_TRUE(profile.has_value());
    for (const profile::Point& point : profile->points) {
      if (!point.warn.empty() || !point.trip.empty()) { EXPECT_FALSE(point.source.empty()) << entry.path() << " " << point.name; }
    }
  }
}

TEST(Config, ThereIsAProfileForEachOfFifteenKindsOfUnit) {
  std::set<std::string> kinds;
  for (const auto& entry : std::filesystem::directory_iterator(std::string(STEADYGLOW_SOURCE_DIR) + "/config/profiles")) {
    Errors errors;
    const auto profile = profile::parse_profile(source_file("config/profiles/" + entry.path().filename().string()), "p", errors);
    ASSERT_TRUE(profile.has_value());
    kinds.insert(profile->kind);
  }
  const std::set<std::string> wanted{"tube-pp-fixed-bias", "tube-pp-cathode-bias", "tube-se-triode", "class-ab", "class-a", "receiver", "mono-pair", "tube-preamp",
                                     "solid-state-preamp", "tuner", "disc-player", "tape-deck", "turntable", "headphone-amp", "powered-crossover"};
  EXPECT_EQ(kinds, wanted);
}

TEST(Config, EveryProfileBeginsWithWhatCanHurt) {
  for (const auto& entry : std::filesystem::directory_iterator(std::string(STEADYGLOW_SOURCE_DIR) + "/config/profiles")) {
    const std::string text = source_file("config/profiles/" + entry.path().filename().string());
    EXPECT_LT(text.find("# Caution: "), text.find("[profile]")) << entry.path();
  }
}

TEST(Config, TheExampleAndTheDemoAreGood) {
  for (const char* file : {"/config/steadyglow.toml", "/demo/steadyglow.toml"}) {
    Errors errors;
    EXPECT_TRUE(app::load_settings(std::string(STEADYGLOW_SOURCE_DIR) + file, errors).has_value());
    EXPECT_EQ(all_of(errors), "");
  }
}

TEST(Config, TheDemosBusesCarryAboutSixtyRequestsASecond) {
  Errors errors;
  const auto settings = app::load_settings(std::string(STEADYGLOW_SOURCE_DIR) + "/demo/steadyglow.toml", errors);
  ASSERT_TRUE(settings.has_value());
  for (const auto& bus : settings->buses) {
    double requests_per_second = 0.0;
    for (const auto& meter : bus.meters) requests_per_second += settings->clock_rate / (static_cast<double>(meter.poll_period.count()) / 1000.0);
    EXPECT_LE(requests_per_second, 75.0) << bus.name;
  }
}

/// Gives every `key = ...` line of a TOML text this value.
void set(std::string& text, const std::string& key, const std::string& value) {
  const std::string begin = "\n" + key + " = ";
  for (auto at = text.find(begin); at != std::string::npos; at = text.find(begin, at + 1))
    text.replace(at + begin.size(), text.find('\n', at + 1) - at - begin.size(), value);
}

/// A served bench whose time stands at three hours, with every relay on.
class ServedBench : public testing::Test {
 protected:
  void SetUp() override {
    folder = std::filesystem::temp_directory_path() / ("steadyglow_bench_" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder);
    bench.advance(3h);
    truth = bench.truth();
    room = bench.weather().room_celsius;
    auto opened = BenchServer::open(bench, {.port = 0, .pty_link = (folder / "bench.pty").string(), .rate = 1.0, .waits_for_first_request = true, .state_file = ""});
    ASSERT_TRUE(opened) << opened.error().text();
    server = std::move(*opened);
    stop = ::eventfd(0, EFD_CLOEXEC);
    thread = std::thread([this] { server->run(stop, [](const std::string&) {}); });
    load();
  }
  void TearDown() override {
    if (thread.joinable()) {
      ASSERT_EQ(::eventfd_write(stop, 1), 0);
      thread.join();
    }
    ::close(stop);
    server.reset();
    std::filesystem::remove_all(folder);
  }
  void load() {
    const std::string root = STEADYGLOW_SOURCE_DIR;
    std::string text = source_file("demo/steadyglow.toml");
    set(text, "port", std::to_string(server->port()));
    set(text, "device", "\"" + (folder / "bench.pty").string() + "\"");
    set(text, "timeout_seconds", "2.0");
    for (const std::string kind : {"instrument", "profile"}) set(text, kind + "_folder", "\"" + root + "/config/" + kind + "s\"");
    set(text, "program", "[\"" + root + "/demo/letterbox\"]");
    set(text, "plan_folder", "\"" + root + "/demo/plans\"");
    std::ofstream(folder / "bench.toml") << text;
    Errors errors;
    settings = app::load_settings((folder / "bench.toml").string(), errors);
    ASSERT_TRUE(settings.has_value()) << all_of(errors);
  }
  const UnitTruth& truth_of_unit(const std::string& name) const {
    return *std::find_if(truth.begin(), truth.end(), [&](const UnitTruth& unit) { return to_word(unit.model) == name; });
  }
  double expected(const UnitTruth& unit, const std::string& point) const {
    if (point == "mains_volts") return unit.mains_volts;
    if (point == "mains_current") return unit.amperes;
    if (point == "mains_power") return unit.watts;
    if (point == "mains_hertz") return 50.0;
    if (point == "room_c") return room;
    for (const Signal& signal : unit.signals)
      if (signal.name == point) return signal.value;
    ADD_FAILURE() << point;
    return 0.0;
  }

  std::filesystem::path folder;
  VirtualBench bench = running(night_of(flat()));
  std::vector<UnitTruth> truth;
  double room = 0.0;
  std::unique_ptr<BenchServer> server;
  int stop = -1;
  std::thread thread;
  std::optional<app::Settings> settings;
};

TEST_F(ServedBench, TheDaemonsDriverReadsEveryPointAsItTrulyIs) {
  std::vector<std::vector<drivers::MeterReply>> replies;
  for (const auto& spec : settings->buses) {
    auto bus = spec.make();
    replies.emplace_back();
    for (std::size_t meter = 0; meter < spec.meters.size(); ++meter) replies.back().push_back(bus->read(meter));
  }
  int points = 0;
  for (const app::UnitSettings& unit : settings->units) {
    for (const app::PointBinding& binding : unit.points) {
      const profile::Point& point = unit.profile.point(binding.point);
      const drivers::ChannelValue& value = replies[binding.bus][binding.meter].channels.at(binding.channel);
      ASSERT_EQ(value.quality, Quality::good) << unit.name << " " << point.name << ": " << replies[binding.bus][binding.meter].trouble;
      // Half a percent, or what the meter's noise and digits may make of a small figure.
      const double is = expected(truth_of_unit(unit.name), point.name);
      const double digits = point.is_temperature() ? 0.3 : point.uom.symbol == "mV" ? (unit.name == "brindlecombe35" ? 1.5 : 0.1) : point.uom.symbol == "A" ? 0.002 : 0.05;
      EXPECT_NEAR(binding.factor * value.value, is, std::max(0.005 * std::fabs(is), digits)) << unit.name << " " << point.name;
      ++points;
    }
  }
  EXPECT_EQ(points, 36);
}

TEST_F(ServedBench, AnOrderOverTheWireOpensTheRelayAndTheCurrentSaysSo) {
  const app::UnitSettings& unit = settings->units.front();
  auto relays_bus = settings->buses[unit.outlet->bus].make();
  ASSERT_TRUE(relays_bus->write_output(unit.outlet->meter, unit.outlet->output, false));
  EXPECT_EQ(relays_bus->read_output(unit.outlet->meter, unit.outlet->output), false);
  for (const app::PointBinding& binding : unit.points) {
    if (unit.profile.point(binding.point).name != "mains_current") continue;
    auto bus = settings->buses[binding.bus].make();
    const auto reply = bus->read(binding.meter);
    EXPECT_EQ(reply.channels[binding.channel].value, 0.0);
    EXPECT_EQ(reply.channels[binding.channel].quality, Quality::good);
  }
}

}  // namespace
}  // namespace steadyglow::demo
