/// Every Modbus instrument file of the house, over a real socket, by raw registers whose meaning is published or plain arithmetic.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/instrument_toml.hpp"
#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;
using tests::FaultyDevice;
using tests::TcpFaultServer;

const std::filesystem::path folder = std::filesystem::path(STEADYGLOW_SOURCE_DIR) / "config/instruments";

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::stringstream text;
  text << in.rdbuf();
  return text.str();
}

struct Expected {
  std::string channel;
  double value = 0.0;
  Quality quality = Quality::good;
};

struct Kind {
  std::string name;
  std::map<std::uint16_t, std::uint16_t> registers;
  std::vector<Expected> expected;
};

// Floats: IEEE 754 binary32, worked from sign, exponent and fraction. Whole numbers: two's complement, by arithmetic.
const std::vector<Kind> kinds{
    {"analog-8ch-int16", {{0, 1216}, {1, 0xFFFF}, {2, 0x7FFF}, {3, 0x8000}, {7, 0x8001}},
     {{"ch1", 0.38}, {"ch2", -0.0003125}, {"ch3", 0, Quality::over_range}, {"ch4", 0, Quality::open_sensor}, {"ch8", -10.2396875}}},
    {"analog-8ch-microvolt",  // low word first: 380 000 is 5 CC60h, -12 500 is FFFF CF2Ch
     {{0, 0xCC60}, {1, 0x0005}, {2, 0xCF2C}, {3, 0xFFFF}, {4, 0xFFFF}, {5, 0x7FFF}, {6, 0x0000}, {7, 0x8000}, {14, 0xD5B0}, {15, 0x0098}},
     {{"ch1", 0.38}, {"ch2", -0.0125}, {"ch3", 0, Quality::over_range}, {"ch4", 0, Quality::open_sensor}, {"ch8", 0, Quality::implausible}}},
    {"thermocouple-8ch-tenths", {{0, 234}, {1, 0xFFF6}, {2, 0x7FFF}, {3, 0x8000}, {4, 2001}},
     {{"t1", 23.4}, {"t2", -1.0}, {"t3", 0, Quality::open_sensor}, {"t4", 0, Quality::over_range}, {"t5", 0, Quality::implausible}}},
    {"rtd-4ch-hundredths", {{0, 2345}, {1, 0xF060}, {2, 0x7FFF}, {3, 25001}},
     {{"t1", 23.45}, {"t2", -40.0}, {"t3", 0, Quality::open_sensor}, {"t4", 0, Quality::implausible}}},
    {"energy-1ph-float32", {{0, 0x4366}, {1, 0x8000}, {2, 0x3E20}, {3, 0x0000}, {4, 0x41C8}, {5, 0x0000}, {6, 0x4248}, {7, 0x147B}, {8, 0x4040}, {9, 0x0000}},
     {{"volts", 230.5}, {"amps", 0.15625}, {"watts", 25.0}, {"hertz", static_cast<double>(50.02f)}, {"energy", 3.0}}},
    {"energy-1ph-int32",  // low word first: 912 351 is D EBDFh
     {{0, 2305}, {1, 0}, {2, 433}, {3, 0}, {4, 0xFFFB}, {5, 0xFFFF}, {8, 5002}, {12, 0xEBDF}, {13, 0x000D}, {14, 0}, {15, 0}},
     {{"volts", 230.5}, {"amps", 0.433}, {"watts", -0.5}, {"hertz", 50.02}, {"energy", 912.351}}},
    {"climate-2ch-tenths", {{0, 0xFFCE}, {1, 455}}, {{"temperature", -5.0}, {"humidity", 45.5}}},
    {"contacts-8ch", {}, {{"in_1", 0}, {"in_2", 1}, {"in_7", 0}, {"in_8", 1}}},  // the device of these tests: 1 at odd addresses
    {"relay-8ch", {}, {}},
    {"relay-bench", {{0, 1}}, {{"smoke", 1}}},
};

class EachKind : public testing::TestWithParam<Kind> {};

TEST_P(EachKind, MeansWhatItsRegistersSay) {
  const Kind& kind = GetParam();
  FaultyDevice device;
  for (const auto& [address, value] : kind.registers) device.set(address, value);
  TcpFaultServer server(device);
  Errors errors;
  const auto instrument = parse_instrument(text_of(folder / (kind.name + ".toml")), kind.name, errors);
  ASSERT_TRUE(instrument) << errors.front().text();
  ModbusBus bus(TcpEnd{"127.0.0.1", server.port()}, {{kind.name, 1, *instrument}}, 500ms);
  const MeterReply reply = bus.read(0);
  ASSERT_TRUE(reply.is_answered) << reply.trouble;
  for (const Expected& expected : kind.expected) {
    std::size_t place = 0;
    while (place < instrument->channels.size() && instrument->channels[place].name != expected.channel) ++place;
    ASSERT_LT(place, instrument->channels.size()) << expected.channel;
    EXPECT_EQ(reply.channels[place].quality, expected.quality) << expected.channel;
    if (expected.quality == Quality::good) {
      EXPECT_DOUBLE_EQ(reply.channels[place].value, expected.value) << expected.channel;
    }
  }
  for (std::size_t output = 0; output < instrument->outputs.size(); ++output) {
    ASSERT_TRUE(bus.write_output(0, output, true)) << instrument->outputs[output].name;
    EXPECT_EQ(bus.read_output(0, output), true);
    EXPECT_TRUE(device.coil(instrument->outputs[output].coil));
    ASSERT_TRUE(bus.write_output(0, output, false));
    EXPECT_EQ(bus.read_output(0, output), false);
  }
}

INSTANTIATE_TEST_SUITE_P(Of, EachKind, testing::ValuesIn(kinds), [](const auto& kind) {
  std::string name = kind.param.name;
  for (char& c : name)
    if (c == '-') c = '_';
  return name;
});

TEST(ModbusKinds, NoneIsLeftOut) {
  std::set<std::string> tested;
  for (const Kind& kind : kinds) tested.insert(kind.name);
  for (const auto& entry : std::filesystem::directory_iterator(folder))
    if (entry.path().extension() == ".toml" && text_of(entry.path()).find("protocol = \"modbus\"") != std::string::npos) {
      EXPECT_TRUE(tested.contains(entry.path().stem().string())) << entry.path();
    }
}

TEST(ModbusKinds, EachSaysWhatItIsForAndIsCautiousWhereItMeetsMains) {
  for (const Kind& kind : kinds) {
    const std::string text = text_of(folder / (kind.name + ".toml"));
    EXPECT_EQ(text.rfind("# ", 0), 0u) << kind.name;
    if (kind.name != "climate-2ch-tenths") {
      EXPECT_NE(text.find("# Caution: "), std::string::npos) << kind.name;
    }
  }
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
