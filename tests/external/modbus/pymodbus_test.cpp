/// The driver against a device that somebody else wrote: pymodbus over TCP, and over a serial line made by socat.
#include <gtest/gtest.h>
#include <unistd.h>

#include <atomic>
#include <cctype>
#include <chrono>
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "core/decimal.hpp"
#include "drivers/modbus/scan.hpp"
#include "drivers/registry.hpp"
#include "support/house_instruments.hpp"
#include "support/program.hpp"

namespace steadyglow::drivers {
namespace {

using namespace std::chrono_literals;
using tests::Program;

const std::string server = std::string(STEADYGLOW_SOURCE_DIR) + "/tests/external/modbus/server.py";

std::string channel(const std::string& name, const std::string& table, int address, const std::string& type, const std::string& more = "") {
  return "[[channel]]\nname = \"" + name + "\"\ntable = \"" + table + "\"\naddress = " + std::to_string(address) +
         (type.empty() ? "" : "\ntype = \"" + type + "\"") + "\nquantity = \"" + (type.empty() ? "state" : "voltage") + "\"\nuom = \"" + (type.empty() ? "1" : "V") + "\"\n" + more;
}

std::string instrument_text() {
  std::string text = "[instrument]\nprotocol = \"modbus\"\n";
  text += channel("bias", "input", 0, "int16", "scale = 0.001\n");
  text += channel("negative", "input", 1, "int16", "scale = 0.1\n");
  text += channel("open", "input", 2, "int16", "sentinel = [ { raw = 32767, quality = \"open_sensor\" } ]\n");
  text += channel("unsigned", "input", 3, "uint16", "plausible = { high = 50000 }\n");
  int address = 100;
  for (const std::string order : {"ABCD", "CDAB", "BADC", "DCBA"})
    for (const std::string type : {"float32", "int32", "uint32"}) {
      std::string name = type + "_" + order;
      for (char& c : name) c = static_cast<char>(std::tolower(c));
      text += channel(name, "input", address, type, "word_order = \"" + order + "\"\n");
      address += 2;
    }
  text += channel("held", "holding", 0, "uint16");
  text += channel("missing", "holding", 3, "uint16");  // the device has three
  text += channel("door", "discrete", 1, "");
  text += "[[output]]\nname = \"outlet_1\"\ncoil = 0\n[[output]]\nname = \"outlet_2\"\ncoil = 7\n";
  return text;
}

/// What a scan printed, as a file.
std::string found_text;

Result<InstrumentText> find_instrument(const std::string& name) {
  if (name == "found") return InstrumentText{"found.toml", found_text};
  if (name == "outside") return InstrumentText{"outside.toml", instrument_text()};
  return tests::house_instrument(name);
}

/// A bus of one meter by a file of the house: its channels by name.
struct KindBus {
  BusSpec spec;
  std::unique_ptr<Bus> bus;
  ChannelValue value(const MeterReply& reply, const std::string& name) const {
    for (std::size_t i = 0; i < spec.meters[0].channels.size(); ++i)
      if (spec.meters[0].channels[i].name == name) return reply.channels[i];
    ADD_FAILURE() << name;
    return {};
  }
};

KindBus kind_bus(const std::string& keys, const std::string& instrument, int address, const std::string& more = "") {
  const std::string toml = "[[bus]]\nname = \"outside\"\n" + keys + "timeout_seconds = 0.4\n[[bus.meter]]\nname = \"m\"\ninstrument = \"" + instrument + "\"\naddress = " + std::to_string(address) + "\n" + more;
  const BusSpec spec = tests::read_buses(toml, find_instrument).spec();
  return {spec, spec.make()};
}

std::unique_ptr<Bus> make_bus(const std::string& keys, std::map<std::string, std::size_t>& channels) {
  const std::string toml = "[[bus]]\nname = \"outside\"\n" + keys +
                           "timeout_seconds = 0.4\n[[bus.meter]]\nname = \"m\"\ninstrument = \"outside\"\naddress = 1\n"
                           "[[bus.meter]]\nname = \"absent\"\ninstrument = \"outside\"\naddress = 9\n";
  const BusSpec spec = tests::read_buses(toml, find_instrument).spec();
  for (std::size_t i = 0; i < spec.meters[0].channels.size(); ++i) channels[spec.meters[0].channels[i].name] = i;
  return spec.make();
}

/// Both links give the same; only the way there differs.
class Outside : public testing::TestWithParam<std::string> {
 protected:
  void SetUp() override {
    GetParam() == "tcp" ? start_tcp() : start_rtu();
    ASSERT_TRUE(bus);
  }
  void TearDown() override { std::filesystem::remove_all(folder); }

  void start_tcp() {
    device = std::make_unique<Program>(std::vector<std::string>{"/usr/bin/python3", server, "tcp"});
    const std::string said = device->read_line();
    ASSERT_EQ(said.rfind("port ", 0), 0u) << "pymodbus did not start (Debian packages python3-pymodbus and python3-serial-asyncio): " << said;
    port = static_cast<int>(parse_decimal(said.substr(5)).value_or(0));
    place = "driver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = " + said.substr(5) + "\n";
    bus = make_bus(place, channels);
  }

  void start_rtu() {
    folder = std::filesystem::temp_directory_path() / ("steadyglow_line_" + std::to_string(::getpid()));
    std::filesystem::create_directories(folder);
    const std::string ours = (folder / "ours").string();
    const std::string theirs = (folder / "theirs").string();
    line = std::make_unique<Program>(std::vector<std::string>{"/usr/bin/socat", "pty,rawer,link=" + ours, "pty,rawer,link=" + theirs});
    for (int i = 0; i < 500 && !(std::filesystem::exists(ours) && std::filesystem::exists(theirs)); ++i) std::this_thread::sleep_for(10ms);
    device = std::make_unique<Program>(std::vector<std::string>{"/usr/bin/python3", server, "rtu", theirs});
    ASSERT_EQ(device->read_line(), "ready") << "pymodbus did not start (Debian packages python3-pymodbus and python3-serial-asyncio)";
    place = "driver = \"modbus_rtu\"\ndevice = \"" + ours + "\"\nbaud = 115200\nparity = \"none\"\n";
    bus = make_bus(place, channels);
  }

  ChannelValue value(const MeterReply& reply, const std::string& name) const { return reply.channels.at(channels.at(name)); }

  std::string place;
  int port = 0;
  std::filesystem::path folder = "/nonexistent";
  std::unique_ptr<Program> line;
  std::unique_ptr<Program> device;
  std::map<std::string, std::size_t> channels;
  std::unique_ptr<Bus> bus;
};

TEST_P(Outside, ReadsWhatPymodbusHolds) {
  const MeterReply reply = bus->read(0);
  ASSERT_TRUE(reply.is_answered) << reply.trouble;
  EXPECT_DOUBLE_EQ(value(reply, "bias").value, 0.380);
  EXPECT_DOUBLE_EQ(value(reply, "negative").value, -24.5);
  EXPECT_EQ(value(reply, "open").quality, Quality::open_sensor);
  EXPECT_EQ(value(reply, "unsigned").quality, Quality::implausible);
  EXPECT_EQ(value(reply, "unsigned").value, 60000.0);
  EXPECT_EQ(value(reply, "held").value, 555.0);
  EXPECT_EQ(value(reply, "held").quality, Quality::good);
  EXPECT_EQ(value(reply, "missing").quality, Quality::refused);
  EXPECT_EQ(value(reply, "door").value, 1.0);
}

TEST_P(Outside, ReadsEveryWordOrderAsPymodbusLaysItOut) {
  const MeterReply reply = bus->read(0);
  for (const std::string order : {"abcd", "cdab", "badc", "dcba"}) {
    EXPECT_EQ(value(reply, "float32_" + order).value, 230.5) << order;
    EXPECT_EQ(value(reply, "int32_" + order).value, -40000.0) << order;
    EXPECT_EQ(value(reply, "uint32_" + order).value, 912351.0) << order;
    EXPECT_EQ(value(reply, "uint32_" + order).quality, Quality::good) << order;
  }
}

TEST_P(Outside, SwitchesAndReadsBackItsCoils) {
  for (const bool on : {true, false, true}) {
    const auto written = bus->write_output(0, 1, on);
    ASSERT_TRUE(written) << written.error().text();
    EXPECT_EQ(bus->read_output(0, 1), on);
    EXPECT_EQ(bus->read_output(0, 0), false);
  }
}

TEST_P(Outside, AnAbsentUnitIsNoAnswerAndTheOtherGoesOn) {
  for (int i = 0; i < 3; ++i) {
    EXPECT_FALSE(bus->read(1).is_answered);
    const MeterReply reply = bus->read(0);
    EXPECT_DOUBLE_EQ(value(reply, "bias").value, 0.380) << reply.trouble;
    EXPECT_EQ(value(reply, "bias").quality, Quality::good);
  }
}

TEST_P(Outside, ADeviceThatEndsIsNoAnswerWithinTheDeadline) {
  ASSERT_TRUE(bus->read(0).is_answered);
  device->stop();
  const auto began = std::chrono::steady_clock::now();
  const MeterReply reply = bus->read(0);
  EXPECT_LT(std::chrono::steady_clock::now() - began, bus->call_deadline());
  EXPECT_FALSE(reply.is_answered);
  EXPECT_EQ(value(reply, "bias").quality, Quality::no_answer);
}

/// One channel of a kind, as pymodbus was told to hold it.
struct Held {
  std::string instrument;
  int address;
  std::string channel;
  double value;
  Quality quality = Quality::good;
};

TEST_P(Outside, EveryKindOfTheHouseReadsWhatPymodbusWasToldToHold) {
  const std::vector<Held> all{
      {"analog-8ch-int16", 11, "ch1", 0.38},          {"analog-8ch-int16", 11, "ch2", -1.0},          {"analog-8ch-int16", 11, "ch4", 0, Quality::open_sensor},
      {"analog-8ch-microvolt", 12, "ch1", 0.38},      {"analog-8ch-microvolt", 12, "ch2", -0.0125},   {"analog-8ch-microvolt", 12, "ch3", 0, Quality::over_range},
      {"thermocouple-8ch-tenths", 13, "t1", 23.4},    {"thermocouple-8ch-tenths", 13, "t2", -1.0},    {"thermocouple-8ch-tenths", 13, "t3", 0, Quality::open_sensor},
      {"rtd-4ch-hundredths", 14, "t1", 23.45},        {"rtd-4ch-hundredths", 14, "t2", -40.0},        {"rtd-4ch-hundredths", 14, "t4", 100.0},
      {"energy-1ph-float32", 15, "volts", 230.5},     {"energy-1ph-float32", 15, "watts", 99.8125},   {"energy-1ph-float32", 15, "energy", 912.375},
      {"energy-1ph-int32", 16, "volts", 230.5},       {"energy-1ph-int32", 16, "amps", 0.433},        {"energy-1ph-int32", 16, "energy", 912.351},
      {"energy-1ph-int32", 16, "hertz", 50.02},       {"climate-2ch-tenths", 17, "temperature", 21.4}, {"climate-2ch-tenths", 17, "humidity", 45.5},
      {"contacts-8ch", 17, "in_1", 0},                {"contacts-8ch", 17, "in_2", 1},                {"contacts-8ch", 17, "in_8", 1},
  };
  bus.reset();  // one reader at a time on a serial line
  std::string open;
  KindBus kind;
  MeterReply reply;
  for (const Held& held : all) {
    if (open != held.instrument) {
      kind.bus.reset();
      kind = kind_bus(place, held.instrument, held.address);
      ASSERT_TRUE(kind.bus) << held.instrument;
      reply = kind.bus->read(0);
      ASSERT_TRUE(reply.is_answered) << held.instrument << ": " << reply.trouble;
      open = held.instrument;
    }
    const ChannelValue value = kind.value(reply, held.channel);
    EXPECT_EQ(value.quality, held.quality) << held.instrument << "." << held.channel << ": " << reply.trouble;
    if (held.quality == Quality::good) {
      EXPECT_DOUBLE_EQ(value.value, held.value) << held.instrument << "." << held.channel;
    }
  }
}

TEST_P(Outside, TheLinesThatAScanPrintsMakeAFileThatReadsTheValue) {
  bus.reset();
  const bool is_tcp = GetParam() == "tcp";
  const modbus::ScanPlace where = is_tcp ? modbus::ScanPlace{TcpEnd{"127.0.0.1", port}, {}, 400ms} : modbus::ScanPlace{SerialLine{(folder / "ours").string(), 115200, Parity::none, 8, 1}, {}, 400ms};
  std::string lines;
  {
    modbus::Scanner scanner(where);
    const std::atomic<bool> stop{false};
    const auto report = scanner.find_addresses(11, 12, {}, stop);
    ASSERT_EQ(report.found.size(), 2u);
    const modbus::Window window = scanner.read_window({12, modbus::RegisterTable::input, 0, 16}, stop);
    const auto matches = modbus::find_value(window, -0.0125);
    ASSERT_FALSE(matches.empty()) << window.trouble;
    lines = modbus::channel_lines(window.table, matches.front().way, "found", "voltage", "V");
  }
  found_text = "[instrument]\nprotocol = \"modbus\"\n" + lines;
  const KindBus kind = kind_bus(place, "found", 12);
  ASSERT_TRUE(kind.bus) << found_text;
  EXPECT_DOUBLE_EQ(kind.value(kind.bus->read(0), "found").value, -0.0125);
}

TEST_P(Outside, ItsIdentificationByFunction43IsReadAndBound) {
  bus.reset();
  const KindBus right = kind_bus(place, "rtd-4ch-hundredths", 14, "identity = \"Test bench,eight kinds,1.0\"\n");
  ASSERT_TRUE(right.bus);
  const MeterReply reply = right.bus->read(0);
  EXPECT_EQ(reply.identity, "Test bench,eight kinds,1.0") << reply.trouble;
  EXPECT_EQ(right.value(reply, "t1").quality, Quality::good) << reply.trouble;
}

TEST_P(Outside, ASerialNumberInRegistersBindsTheMeter) {
  bus.reset();
  {
    const KindBus right = kind_bus(place, "energy-1ph-int32", 16, "identity = \"4120417\"\n");
    ASSERT_TRUE(right.bus);
    EXPECT_EQ(right.value(right.bus->read(0), "volts").quality, Quality::good);
  }
  const KindBus wrong = kind_bus(place, "energy-1ph-int32", 16, "identity = \"4120418\"\n");
  ASSERT_TRUE(wrong.bus);
  const MeterReply reply = wrong.bus->read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_EQ(reply.trouble, "`4120417` answers where `4120418` is bound");
  EXPECT_EQ(wrong.value(reply, "volts").quality, Quality::other_meter);
}

INSTANTIATE_TEST_SUITE_P(Over, Outside, testing::Values("tcp", "rtu"),
                         [](const auto& link) { return link.param; });

}  // namespace
}  // namespace steadyglow::drivers
