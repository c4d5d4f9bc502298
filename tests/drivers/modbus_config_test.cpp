/// The Modbus keys of a [[bus]] and of a [[bus.meter]], read by the registry.
#include <gtest/gtest.h>

#include <string>

#include "drivers/fault_server.hpp"
#include "drivers/registry.hpp"
#include "support/house_instruments.hpp"

namespace steadyglow::drivers {
namespace {

using tests::BusesRead;

std::string instrument(const std::string& identity) {
  return "[instrument]\nprotocol = \"modbus\"\n" + identity + "[[channel]]\nname = \"ch1\"\ntable = \"input\"\naddress = 10\ntype = \"int16\"\nquantity = \"voltage\"\nuom = \"V\"\n";
}

Result<InstrumentText> find(const std::string& name) {
  if (name == "plain") return InstrumentText{"instruments/plain.toml", instrument("")};
  if (name == "named") return InstrumentText{"instruments/named.toml", instrument("[instrument.identity]\nregisters = { table = \"holding\", address = 100, count = 8 }\n")};
  if (name == "coded") return InstrumentText{"instruments/coded.toml", instrument("[instrument.identity]\nregisters = { table = \"holding\", address = 0 }\ntype = \"uint16\"\nis = 4711\n")};
  return fail(Fault::config, "there is no instrument `" + name + "`", "");
}

BusesRead read(const std::string& keys, const std::string& meter_keys) {
  return tests::read_buses("[[bus]]\nname = \"b\"\n" + keys + "[[bus.meter]]\nname = \"m\"\naddress = 1\n" + meter_keys, find);
}

const std::string tcp = "driver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\n";
const std::string rtu = "driver = \"modbus_rtu\"\ndevice = \"/dev/serial/by-id/adapter\"\n";

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

TEST(ModbusConfig, ABoundMeterCarriesItsIdentityToTheWire) {
  tests::FaultyDevice device;
  device.set_text(100, 8, "SN-0999");
  tests::TcpFaultServer server(device);
  const BusesRead result = read(tcp + "port = " + std::to_string(server.port()) + "\n", "instrument = \"named\"\nidentity = \"SN-0412\"\n");
  ASSERT_EQ(result.buses.size(), 1u) << result.said;
  const MeterReply reply = result.buses[0].make()->read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_EQ(reply.trouble, "`SN-0999` answers where `SN-0412` is bound");
}

TEST(ModbusConfig, AMeterThatCannotBeAskedCannotBeBound) {
  const BusesRead result = read(tcp, "instrument = \"plain\"\nidentity = \"SN-0412\"\n");
  EXPECT_TRUE(holds(result.said, "bench.toml:9:12: error: instruments/plain.toml does not say how to ask such a device who it is hint: add [instrument.identity]")) << result.said;
  EXPECT_TRUE(holds(result.said, "by-id path")) << result.said;
}

TEST(ModbusConfig, ATypeCodeTellsNoTwoApart) {
  EXPECT_TRUE(holds(read(tcp, "instrument = \"coded\"\nidentity = \"4711\"\n").said, "tells no two of them apart"));
  EXPECT_EQ(read(tcp, "instrument = \"coded\"\n").said, "");
}

TEST(ModbusConfig, APauseIsNamedAtTheMeter) {
  EXPECT_EQ(read(tcp, "instrument = \"plain\"\npause_seconds = 0.05\n").said, "");
  EXPECT_TRUE(holds(read(tcp, "instrument = \"plain\"\npause_seconds = 3.0\n").said, "`pause_seconds` is 3, but must be between 0 and 2"));
}

TEST(ModbusConfig, APauseIsPartOfWhatACallMayTake) {
  const auto deadline = [](const BusesRead& result) { return result.buses.at(0).make()->call_deadline(); };
  EXPECT_GT(deadline(read(tcp, "instrument = \"plain\"\npause_seconds = 1.0\n")), deadline(read(tcp, "instrument = \"plain\"\n")) + std::chrono::seconds{1});
}

TEST(ModbusConfig, DirectionAndEchoAreKeysOfASerialLineOnly) {
  EXPECT_EQ(read(rtu + "rts = \"before\"\necho = true\n", "instrument = \"plain\"\n").said, "");
  EXPECT_TRUE(holds(read(rtu + "rts = \"during\"\n", "instrument = \"plain\"\n").said, "none of: none, before, after"));
  const std::string over_tcp = read(tcp + "rts = \"before\"\necho = true\n", "instrument = \"plain\"\n").said;
  EXPECT_TRUE(holds(over_tcp, "unknown key `rts`") && holds(over_tcp, "unknown key `echo`")) << over_tcp;
}

}  // namespace
}  // namespace steadyglow::drivers
