/// A serial port that two programs want, and bytes that are no frame, at the place where libmodbus is opened and read.
#include "drivers/modbus/link.hpp"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/file.h>
#include <termios.h>
#include <unistd.h>

#include <chrono>
#include <string>
#include <thread>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/modbus_bus.hpp"
#include "drivers/modbus_bench.hpp"
#include "drivers/talker.hpp"
#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;
using tests::FaultyDevice;
using tests::meter_with;
using tests::RtuFaultServer;

SerialLine line_to(const std::string& device) { return {device, 115200, Parity::none, 1}; }
ModbusBus bus_to(const std::string& device, std::uint16_t address) { return ModbusBus(line_to(device), {meter_with({address})}, 200ms); }

/// A device at a serial line.
class ModbusLine : public testing::Test {
 protected:
  ModbusBus bus(std::uint16_t address) { return bus_to(server.path(), address); }
  FaultyDevice device;
  RtuFaultServer server{device};
};

TEST_F(ModbusLine, ASerialLineHasOneReader) {
  ModbusBus daemon = bus(10);
  ASSERT_TRUE(daemon.read(0).is_answered);
  ModbusBus probe = bus(20);
  const MeterReply refused = probe.read(0);
  EXPECT_FALSE(refused.is_answered);
  EXPECT_EQ(refused.trouble, "cannot open: another program holds it (two readers of one line each get half of the answers: end the other one)");
  for (int i = 0; i < 3; ++i) EXPECT_EQ(daemon.read(0).channels[0].value, 10.0);
}

TEST_F(ModbusLine, WhoeverIsRefusedHasNotTouchedTheLine) {
  const int other = ::open(server.path().c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  ASSERT_EQ(::flock(other, LOCK_EX | LOCK_NB), 0);
  termios settings{};
  ::tcgetattr(other, &settings);
  ::cfsetspeed(&settings, B300);
  ::tcsetattr(other, TCSANOW, &settings);
  EXPECT_FALSE(bus(10).read(0).is_answered);
  ::tcgetattr(other, &settings);
  EXPECT_EQ(::cfgetospeed(&settings), static_cast<speed_t>(B300));
  EXPECT_EQ(device.asked_count(), 0u);
  ::close(other);
}

TEST_F(ModbusLine, IsFreeAgainForTheNextOne) {
  {
    ModbusBus first = bus(10);
    ASSERT_TRUE(first.read(0).is_answered);
  }
  ModbusBus second = bus(20);
  EXPECT_EQ(second.read(0).channels[0].value, 20.0);
}

TEST_F(ModbusLine, DriversOfOtherProtocolsAreRefusedToo) {
  ModbusBus holder = bus(10);
  ASSERT_TRUE(holder.read(0).is_answered);
  BusCounters counters;
  EXPECT_FALSE(wire::make_wire(wire::SerialEnd{.line = line_to(server.path())}, counters)->open(wire::Clock::now() + 1s));
}

TEST(ModbusPort, WhatRestsIsToldAsTheTrouble) {
  FaultyDevice device;
  device.fault = [](const tests::Asked& asked) { return asked.address == 900 && asked.count == 1 ? tests::Fault::silent : tests::Fault::none; };
  tests::TcpFaultServer server(device);
  ModbusBus bus(TcpEnd{"127.0.0.1", server.port()}, {meter_with({10, 900})}, 50ms);
  for (unsigned i = 0; i < misses_until_rest; ++i) EXPECT_EQ(bus.read(0).trouble, "no answer in time");
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::good);
  EXPECT_EQ(reply.channels[1].quality, Quality::no_answer);
  EXPECT_EQ(reply.trouble, "the input address 900 is not answered, and rests");
}

TEST(ModbusPort, SaysWhatToDoAboutAPortThatIsNotThere) {
  ModbusBus bus = bus_to("/dev/serial/by-id/nobody", 10);
  EXPECT_EQ(bus.read(0).trouble, "cannot open: No such file or directory (is it plugged in? `steadyglow devices` prints the names of what is)");
}

TEST(ModbusPort, AHeaderThatSaysItIsShorterThanItIsEndsTheAnswer) {
  tests::TcpTalker talker;
  BusCounters counters;
  const auto link = make_tcp_link(talker.end(), counters);
  std::thread answers([&] {
    talker.pick_up();
    const std::string header{"\0\1\0\0\0\0\1", 7};  // transaction 1, a length of nothing
    talker.say(header + std::string(4000, 'x'));
  });
  const Exchange said = link->exchange(1, identification_pdu(0), {Clock::now() + 2s, 1s}, Urgency::poll, Stray::is_an_error);
  answers.join();
  EXPECT_EQ(said.outcome, Outcome::garbage) << said.trouble;
}

TEST(ModbusPort, NoTimeoutMakesACallLongerThanTheWatchdogAllows) {
  EXPECT_EQ(ModbusBus(TcpEnd{"127.0.0.1", 1}, {meter_with({10, 20, 30})}, 10s).call_deadline(), call_deadline_most);
  EXPECT_LT(ModbusBus(TcpEnd{"127.0.0.1", 1}, {meter_with({10, 20, 30})}, 500ms).call_deadline(), call_deadline_most);
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
