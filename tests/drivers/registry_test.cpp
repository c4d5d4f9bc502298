#include "drivers/registry.hpp"

#include <gtest/gtest.h>

#include <string>

#include "support/house_instruments.hpp"

namespace steadyglow::drivers {
namespace {

using tests::BusesRead;

constexpr std::string_view module_text = R"([instrument]
protocol = "modbus"
[[channel]]
name = "ch1"
table = "input"
address = 0
type = "int16"
quantity = "voltage"
uom = "V"
[[output]]
name = "outlet_1"
coil = 0
)";

constexpr std::string_view broken_text = R"([instrument]
protocol = "modbus"
[[channel]]
name = "ch1"
table = "input"
address = 0
type = "int17"
quantity = "voltage"
uom = "V"
)";

Result<InstrumentText> find(const std::string& name) {
  if (name == "module") return InstrumentText{"instruments/module.toml", std::string(module_text)};
  if (name == "broken") return InstrumentText{"instruments/broken.toml", std::string(broken_text)};
  return fail(Fault::config, "there is no instrument `" + name + "`", "write instruments/" + name + ".toml");
}

BusesRead read(const std::string& toml) { return tests::read_buses(toml, find); }

const std::string tcp_head = "[[bus]]\nname = \"bench_tcp\"\ndriver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = 1502\n";
const std::string meter = "[[bus.meter]]\nname = \"analog_a\"\ninstrument = \"module\"\naddress = 1\n";

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

TEST(Registry, ReadsATcpBus) {
  const BusesRead result = read(tcp_head + "timeout_seconds = 0.25\n" + meter + "poll_seconds = 10.0\n");
  ASSERT_EQ(result.buses.size(), 1u) << result.said;
  const BusSpec& bus = result.buses[0];
  EXPECT_EQ(bus.where, "127.0.0.1:1502");
  ASSERT_EQ(bus.meters.size(), 1u);
  EXPECT_EQ(bus.meters[0].poll_period.count(), 10000);
  ASSERT_EQ(bus.meters[0].channels.size(), 1u);
  EXPECT_EQ(bus.meters[0].channels[0].name, "ch1");
  EXPECT_EQ(bus.meters[0].channels[0].quantity, Quantity::voltage);
  EXPECT_EQ(bus.meters[0].channels[0].uom, "V");
  EXPECT_EQ(bus.meters[0].outputs, (std::vector<std::string>{"outlet_1"}));
  EXPECT_GE(bus.make()->call_deadline().count(), 250);
}

TEST(Registry, ReadsASerialBus) {
  const BusesRead result = read("[[bus]]\nname = \"line\"\ndriver = \"modbus_rtu\"\ndevice = \"/dev/serial/by-id/adapter\"\nbaud = 9600\nparity = \"none\"\nstop_bits = 2\n" + meter);
  ASSERT_EQ(result.buses.size(), 1u) << result.said;
  EXPECT_EQ(result.buses[0].where, "/dev/serial/by-id/adapter");
}

TEST(Registry, ReportsEveryMistakeAtItsPlace) {
  const BusesRead result = read(
      "[[bus]]\n"
      "name = \"bench tcp\"\n"          // 2: a space
      "driver = \"modbus_tcp\"\n"       // no host
      "prot = 1502\n"                   // 4: typing mistake
      "[[bus.meter]]\n"
      "name = \"a\"\n"
      "instrument = \"modul\"\n"        // 7: unknown
      "address = 1\n"
      "[[bus.meter]]\n"
      "name = \"a\"\n"                  // 10: duplicate
      "instrument = \"module\"\n"
      "address = 256\n");               // 12: out of range
  EXPECT_TRUE(result.buses.empty());
  EXPECT_EQ(result.errors.size(), 6u) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:2:8: error: `bench tcp` is not a name for a bus")) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:1:1: error: `host` is missing here")) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:4:1: error: unknown key `prot` hint: did you mean `port`?")) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:7:14: error: there is no instrument `modul`")) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:10:8: error: meter `a` stands here twice hint: the first is at line 6")) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:12:11: error: `address` is 256, but must be between 0 and 255")) << result.said;
}

TEST(Registry, AnUnknownDriverIsOneMistakeAndHidesNone) {
  const BusesRead result = read("[[bus]]\nname = \"b\"\ndriver = \"modbus_tpc\"\nhost = \"127.0.0.1\"\n" + meter);
  EXPECT_EQ(result.errors.size(), 1u) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:3:10: error: `driver` is \"modbus_tpc\", which is none of: modbus_tcp, modbus_rtu")) << result.said;
  EXPECT_TRUE(holds(result.said, " hint: did you mean \"modbus_tcp\"?")) << result.said;
}

TEST(Registry, ASerialAddressIs1To247) {  // MODBUS over Serial Line V1.02, section 2.2
  const std::string head = "[[bus]]\nname = \"line\"\ndriver = \"modbus_rtu\"\ndevice = \"/dev/ttyS0\"\n";
  const std::string before = "[[bus.meter]]\nname = \"a\"\ninstrument = \"module\"\naddress = ";
  EXPECT_EQ(read(head + before + "0\n").errors.size(), 1u);
  EXPECT_EQ(read(head + before + "1\n").errors.size(), 0u);
  EXPECT_EQ(read(head + before + "247\n").errors.size(), 0u);
  EXPECT_EQ(read(head + before + "248\n").errors.size(), 1u);
}

TEST(Registry, TwoMetersCannotShareAnAddress) {
  const BusesRead result = read(tcp_head + meter + "[[bus.meter]]\nname = \"analog_b\"\ninstrument = \"module\"\naddress = 1\n");
  EXPECT_EQ(result.errors.size(), 1u) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:13:11: error: address 1 is already meter `analog_a`")) << result.said;
}

TEST(Registry, AMistakeInAnInstrumentIsReportedOnceUnderItsOwnName) {
  const std::string one = "[[bus]]\nname = \"b1\"\ndriver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\n[[bus.meter]]\nname = \"a\"\ninstrument = \"broken\"\naddress = 1\n[[bus.meter]]\nname = \"b\"\ninstrument = \"broken\"\naddress = 2\n";
  const std::string two = "[[bus]]\nname = \"b2\"\ndriver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\n[[bus.meter]]\nname = \"c\"\ninstrument = \"broken\"\naddress = 1\n";
  const BusesRead result = read(one + two);
  EXPECT_EQ(result.errors.size(), 1u) << result.said;
  EXPECT_TRUE(holds(result.said, "instruments/broken.toml:7:8: error: `type` is \"int17\"")) << result.said;
}

TEST(Registry, AHostNameIsRefusedWithTheReason) {
  const BusesRead result = read("[[bus]]\nname = \"b\"\ndriver = \"modbus_tcp\"\nhost = \"meter.shop.lan\"\n" + meter);
  EXPECT_EQ(result.errors.size(), 1u);
  EXPECT_TRUE(holds(result.said, "bench.toml:4:8: error: `meter.shop.lan` is not an IPv4 address")) << result.said;
}

TEST(Registry, ABaudRateMustBeOneThatLinesHave) {
  const BusesRead result = read("[[bus]]\nname = \"b\"\ndriver = \"modbus_rtu\"\ndevice = \"/dev/ttyS0\"\nbaud = 9601\nparity = \"evn\"\n" + meter);
  EXPECT_EQ(result.errors.size(), 2u) << result.said;
  EXPECT_TRUE(holds(result.said, "bench.toml:5:8: error: 9601 is no baud rate known here")) << result.said;
}

TEST(Registry, ABusWithoutMetersIsAMistake) {
  const BusesRead result = read(tcp_head);
  EXPECT_EQ(result.errors.size(), 1u);
  EXPECT_TRUE(holds(result.said, "a bus needs at least one [[bus.meter]]")) << result.said;
}

}  // namespace
}  // namespace steadyglow::drivers
