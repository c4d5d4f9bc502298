#include <gtest/gtest.h>

#include <chrono>
#include <memory>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/modbus_bus.hpp"
#include "drivers/modbus_bench.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;
using tests::Asked;
using tests::Fault;
using tests::FaultyDevice;
using tests::meter_with;
using tests::TcpFaultServer;

constexpr auto timeout = 80ms;
/// On a busy machine the late answer of this very round may stand ready before the deadline is looked at: it is right.
constexpr int values_right_by_load_max = 6;

ModbusBus bus_to(int port, std::vector<MeterSetup> meters) { return ModbusBus(TcpEnd{"127.0.0.1", port}, std::move(meters), timeout); }

std::chrono::milliseconds took(const std::function<void()>& what) {
  const auto began = Clock::now();
  what();
  return std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - began);
}

TEST(ModbusTcp, ReadsNeighboursInOneRequest) {
  FaultyDevice device;
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 11, 12})});
  const MeterReply reply = bus.read(0);
  ASSERT_TRUE(reply.is_answered) << reply.trouble;
  EXPECT_EQ(reply.channels[0].quality, Quality::good);
  EXPECT_EQ(reply.channels[2].value, 12.0);
  EXPECT_EQ(device.asked_count(), 1u);
  EXPECT_EQ(reply.trouble, "");
}

TEST(ModbusTcp, ReadsBits) {
  FaultyDevice device;
  TcpFaultServer server(device);
  MeterSetup setup;
  for (const std::uint16_t address : {std::uint16_t{4}, std::uint16_t{5}}) {
    Channel channel;
    channel.table = RegisterTable::discrete;
    channel.address = address;
    channel.type = Type::bit;
    setup.instrument.channels.push_back(channel);
  }
  ModbusBus bus = bus_to(server.port(), {setup});
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.channels[0].value, 0.0);
  EXPECT_EQ(reply.channels[1].value, 1.0);
  EXPECT_EQ(reply.channels[1].quality, Quality::good);
}

/// Every second request meets the fault. A good value must be the one of this very round; clean rounds must be good.
class TcpFault : public testing::TestWithParam<Fault> {};

TEST_P(TcpFault, NeverYieldsAWrongValueAndIsOverWithTheNextPoll) {
  FaultyDevice device;
  std::atomic<bool> is_bad_round{false};
  device.fault = [&](const Asked&) { return is_bad_round ? GetParam() : Fault::none; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 20})});
  const tests::Rounds rounds = tests::play_rounds(device, is_bad_round, [&] { return bus.read(0); });
  EXPECT_LE(rounds.lost, tests::polls_lost_to_load_max);
  if (GetParam() != Fault::doubled) {
    EXPECT_LE(rounds.believed_in_bad, GetParam() == Fault::late ? values_right_by_load_max : 0);
  }
}

TEST(TheseRounds, FindAChannelThatIsLostNowAndThen) {
  FaultyDevice device;
  std::atomic<bool> is_bad_round{false};
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 20})});
  int polls = 0;
  const auto careless = [&] {
    MeterReply reply = bus.read(0);
    if (++polls % 10 == 0) reply.channels[1].quality = Quality::no_answer;  // in each fifth of the clean rounds
    return reply;
  };
  EXPECT_GT(tests::play_rounds(device, is_bad_round, careless).lost, tests::polls_lost_to_load_max);
}

INSTANTIATE_TEST_SUITE_P(Each, TcpFault,
                         testing::Values(Fault::wrong_unit, Fault::wrong_transaction, Fault::wrong_length, Fault::wrong_function, Fault::garbage,
                                         Fault::truncated, Fault::doubled, Fault::late, Fault::hang_up, Fault::silent, Fault::exception));

TEST(ModbusTcp, CountsWhatItDoesNotBelieve) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::wrong_unit; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10})});
  const MeterReply reply = bus.read(0);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_EQ(reply.channels[0].quality, Quality::implausible);
  EXPECT_NE(reply.trouble, "");
  EXPECT_EQ(bus.counters().garbage, 1u);
}

TEST(ModbusTcp, ABytewiseAnswerCannotOutlastTheDeadline) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::drip; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({1, 2, 3, 4, 5, 6, 7, 8, 9, 10})});
  EXPECT_LT(took([&] { EXPECT_FALSE(bus.read(0).is_answered); }), bus.call_deadline());
}

TEST(ModbusTcp, AnExceptionIsARefusalOfALivingMeter) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::exception; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10})});
  const MeterReply reply = bus.read(0);
  EXPECT_TRUE(reply.is_answered);
  EXPECT_EQ(reply.channels[0].quality, Quality::refused);
  EXPECT_EQ(bus.counters().refusals, 1u);
}

TEST(ModbusTcp, ARefusedRequestIsSplitAndTheSplitRemembered) {
  FaultyDevice device;
  device.forbidden = {13};
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 11, 12, 13, 14, 15, 16, 17})});
  const MeterReply first = bus.read(0);
  for (std::size_t i = 0; i < 8; ++i) {
    EXPECT_EQ(first.channels[i].quality, i == 3 ? Quality::refused : Quality::good) << i;
    if (i != 3) {
      EXPECT_EQ(first.channels[i].value, 10.0 + static_cast<double>(i));
    }
  }
  const std::size_t asked_to_learn = device.asked_count();
  const MeterReply second = bus.read(0);
  EXPECT_EQ(second.channels[7].value, 17.0);
  EXPECT_EQ(device.asked_count() - asked_to_learn, 4u);  // 10-11, 12, 13, 14-17
  EXPECT_LT(device.asked_count() - asked_to_learn, asked_to_learn);
}

TEST(ModbusTcp, AMeterThatRefusesEverythingIsNotAskedPieceByPieceEachTime) {
  FaultyDevice device;
  device.forbidden = {10, 11, 12, 13};
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 11, 12, 13})});
  (void)bus.read(0);
  const std::size_t before = device.asked_count();
  (void)bus.read(0);
  EXPECT_EQ(device.asked_count() - before, 1u);
  EXPECT_EQ(bus.plan(0).size(), 1u);
}

TEST(ModbusTcp, ATimeoutNeverSplits) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::silent; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 11, 12})});
  for (int i = 0; i < 3; ++i) EXPECT_EQ(bus.read(0).channels[0].quality, Quality::no_answer);
  EXPECT_EQ(bus.plan(0).size(), 1u);
  EXPECT_EQ(bus.counters().timeouts, 3u);
}

TEST(ModbusTcp, ASilentMeterCostsOneTimeoutHoweverManyRequestsItHas) {
  FaultyDevice device;
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 20, 30, 40, 50}, 9)});
  EXPECT_LT(took([&] { (void)bus.read(0); }), 3 * timeout);
}

TEST(ModbusTcp, ARangeThatTheDeviceIgnoresNeitherHidesTheOthersNorCostsATimeoutEachTime) {
  FaultyDevice device;
  device.fault = [](const Asked& asked) { return asked.address == 10 ? Fault::silent : Fault::none; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 20, 30})});
  int good = 0;
  for (int i = 0; i < 20; ++i) {
    const MeterReply reply = bus.read(0);
    EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
    good += reply.channels[1].quality == Quality::good && reply.channels[2].value == 30.0 ? 1 : 0;
  }
  EXPECT_GE(good, 18);
  EXPECT_LE(bus.counters().timeouts, 3u);
}

TEST(ModbusTcp, AGatewaysWordThatTheMeterIsSilentIsNoAnswer) {
  // V1.1b3, section 7: exception 0Bh comes from a gateway whose target device does not respond.
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::gateway_silence; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {meter_with({10, 11})});
  const MeterReply reply = bus.read(0);
  EXPECT_FALSE(reply.is_answered);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_EQ(bus.counters().timeouts, 1u);
}

TEST(ModbusTcp, WritesARelayAndReadsItBack) {
  FaultyDevice device;
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {tests::relays()});
  ASSERT_TRUE(bus.write_output(0, 1, true));
  EXPECT_TRUE(device.coil(1));
  EXPECT_EQ(bus.read_output(0, 1), true);
  ASSERT_TRUE(bus.write_output(0, 1, false));
  EXPECT_FALSE(device.coil(1));
  EXPECT_EQ(bus.read_output(0, 1), false);
}

TEST(ModbusTcp, ARelayThatRefusesIsAnErrorThatSaysSo) {
  FaultyDevice device;
  device.forbidden = {0};
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {tests::relays()});
  const auto result = bus.write_output(0, 0, false);
  ASSERT_FALSE(result);
  EXPECT_NE(result.error().text().find("output `outlet_1` not switched off: refused, exception 2"), std::string::npos) << result.error().text();
}

TEST(ModbusTcp, AnOrderIsTriedAgainWhenItsAnswerIsLost) {
  FaultyDevice device;
  std::atomic<int> writes{0};
  device.fault = [&](const Asked& asked) { return asked.function == 5 && writes++ == 0 ? Fault::silent : Fault::none; };
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {tests::relays()});
  EXPECT_TRUE(bus.write_output(0, 0, true));
  EXPECT_TRUE(device.coil(0));
}

TEST(ModbusTcp, AMeterWithOnlyRelaysShowsThatItIsAlive) {
  FaultyDevice device;
  TcpFaultServer server(device);
  ModbusBus bus = bus_to(server.port(), {tests::relays(), tests::relays(9)});
  EXPECT_TRUE(bus.read(0).is_answered);
  EXPECT_FALSE(bus.read(1).is_answered);
}

TEST(ModbusTcp, ComesBackWhenTheDeviceComesBack) {
  FaultyDevice device;
  auto server = std::make_unique<TcpFaultServer>(device);
  const int port = server->port();
  ModbusBus bus = bus_to(port, {meter_with({10})});
  ASSERT_TRUE(bus.read(0).is_answered);
  server.reset();
  EXPECT_FALSE(bus.read(0).is_answered);
  server = std::make_unique<TcpFaultServer>(device, port);
  std::this_thread::sleep_for(2 * open_pause_first);
  EXPECT_TRUE(bus.read(0).is_answered);
  EXPECT_EQ(bus.counters().reconnects, 1u);
}

TEST(ModbusTcp, DoesNotHammerADeadEnd) {
  FaultyDevice device;
  auto server = std::make_unique<TcpFaultServer>(device);
  ModbusBus bus = bus_to(server->port(), {meter_with({10})});
  server.reset();
  EXPECT_FALSE(bus.read(0).is_answered);
  const auto time = took([&] {
    for (int i = 0; i < 1000; ++i) EXPECT_FALSE(bus.read(0).is_answered);
  });
  EXPECT_LT(time, open_pause_first);  // all of them within the pause: no connection is tried
}

TEST(ModbusTcp, AnOrderDoesNotWaitForThePause) {
  FaultyDevice device;
  auto server = std::make_unique<TcpFaultServer>(device);
  const int port = server->port();
  ModbusBus bus = bus_to(port, {tests::relays()});
  server.reset();
  for (int i = 0; i < 4; ++i) {
    (void)bus.write_output(0, 0, true);  // the pause grows with each failure
  }
  server = std::make_unique<TcpFaultServer>(device, port);
  EXPECT_TRUE(bus.write_output(0, 0, false));
}

TEST(ModbusTcp, AConnectionThatThePeerDroppedCostsNoReading) {
  FaultyDevice device;
  auto server = std::make_unique<TcpFaultServer>(device);
  const int port = server->port();
  ModbusBus bus = bus_to(port, {meter_with({10})});
  ASSERT_TRUE(bus.read(0).is_answered);
  server.reset();
  server = std::make_unique<TcpFaultServer>(device, port);
  EXPECT_EQ(bus.read(0).channels[0].quality, Quality::good);
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
