/// A meter accepts data only from the device that it was bound to, over TCP and over a pseudo-terminal.
#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <memory>
#include <string>
#include <thread>

#include "drivers/fault_server.hpp"
#include "drivers/modbus/identity.hpp"
#include "drivers/modbus/modbus_bus.hpp"
#include "drivers/modbus_bench.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using namespace std::chrono_literals;
using tests::Asked;
using tests::Fault;
using tests::FaultyDevice;
using tests::meter_with;
using tests::relays;
using tests::RtuFaultServer;
using tests::TcpFaultServer;

constexpr auto timeout = 80ms;

IdentityRule text_at(std::uint16_t address, std::uint16_t count) {
  IdentityRule rule;
  rule.source = IdentityRule::Source::registers;
  rule.table = RegisterTable::holding;
  rule.address = address;
  rule.count = count;
  return rule;
}

IdentityRule code_at(std::uint16_t address, std::uint32_t code) {
  IdentityRule rule = text_at(address, 1);
  rule.is_number = true;
  rule.is = code;
  return rule;
}

IdentityRule by_function() {
  IdentityRule rule;
  rule.source = IdentityRule::Source::device_identification;
  return rule;
}

MeterSetup bound(MeterSetup setup, IdentityRule rule, std::string identity = {}) {
  setup.instrument.identity = rule;
  setup.identity = std::move(identity);
  return setup;
}

bool holds(const std::string& text, std::string_view part) { return text.find(part) != std::string::npos; }

/// The same device over either link.
class Bound : public testing::TestWithParam<bool> {
 protected:
  void connect() { GetParam() ? void(rtu = std::make_unique<RtuFaultServer>(device)) : void(tcp = std::make_unique<TcpFaultServer>(device)); }
  ModbusBus bus_with(std::vector<MeterSetup> meters) {
    if (rtu) return ModbusBus(SerialLine{rtu->path(), 115200, Parity::none, 8, 1}, std::move(meters), timeout);
    return ModbusBus(TcpEnd{"127.0.0.1", tcp->port()}, std::move(meters), timeout);
  }
  FaultyDevice device;
  std::unique_ptr<TcpFaultServer> tcp;
  std::unique_ptr<RtuFaultServer> rtu;
};
INSTANTIATE_TEST_SUITE_P(Over, Bound, testing::Bool(), [](const auto& is_rtu) { return is_rtu.param ? "rtu" : "tcp"; });

TEST_P(Bound, TheBoundDeviceIsRead) {
  device.set_text(100, 8, "SN-0412");
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), text_at(100, 8), " SN-0412 ")});
  for (int i = 0; i < 3; ++i) {
    const MeterReply reply = bus.read(0);
    EXPECT_EQ(reply.channels[1].quality, Quality::good) << reply.trouble;
    EXPECT_EQ(reply.identity, "SN-0412");
    EXPECT_FALSE(reply.is_stranger);
  }
}

TEST_P(Bound, ItIsAskedOnceAndNotEachTime) {
  device.set_text(100, 8, "SN-0412");
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), text_at(100, 8), "SN-0412")});
  for (int i = 0; i < 5; ++i) (void)bus.read(0);
  int questions = 0;
  for (const Asked& asked : device.asked()) questions += asked.address == 100 ? 1 : 0;
  EXPECT_EQ(questions, 1);
}

TEST_P(Bound, AnotherOneHasNoValuesAndBothNamesAreTold) {
  device.set_text(100, 8, "SN-0999");
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), text_at(100, 8), "SN-0412")});
  const MeterReply reply = bus.read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_TRUE(reply.is_answered);
  EXPECT_EQ(reply.identity, "SN-0999");
  EXPECT_EQ(reply.trouble, "`SN-0999` answers where `SN-0412` is bound");
  for (const ChannelValue& channel : reply.channels) {
    EXPECT_EQ(channel.quality, Quality::other_meter);
    EXPECT_EQ(channel.value, 0.0);
  }
}

TEST_P(Bound, AnExchangedDeviceIsFoundAfterTheSilenceAndTheRightOneIsTakenBack) {
  std::atomic<bool> is_unplugged{false};
  device.fault = [&](const Asked&) { return is_unplugged ? Fault::silent : Fault::none; };
  device.set_text(100, 8, "SN-0412");
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), text_at(100, 8), "SN-0412")});
  ASSERT_EQ(bus.read(0).channels[0].quality, Quality::good);
  is_unplugged = true;
  EXPECT_EQ(bus.read(0).channels[0].quality, Quality::no_answer);
  device.set_text(100, 8, "SN-0999");
  is_unplugged = false;
  for (int i = 0; i < 3; ++i) EXPECT_TRUE(bus.read(0).is_stranger);
  device.set_text(100, 8, "SN-0412");
  const MeterReply back = bus.read(0);
  EXPECT_FALSE(back.is_stranger);
  EXPECT_EQ(back.channels[0].quality, Quality::good) << back.trouble;
}

TEST_P(Bound, AnExchangeWithoutAnySilenceIsFoundWhenTheProofIsOld) {
  device.set_text(100, 8, "SN-0412");
  connect();
  MeterSetup setup = bound(meter_with({10, 11}), text_at(100, 8), "SN-0412");
  setup.identity_lasts = 50ms;
  ModbusBus bus = bus_with({setup});
  ASSERT_EQ(bus.read(0).channels[0].quality, Quality::good);
  device.set_text(100, 8, "SN-0999");
  std::this_thread::sleep_for(60ms);
  EXPECT_TRUE(bus.read(0).is_stranger);
}

TEST_P(Bound, FunctionFortyThreeNamesVendorProductAndRevision) {
  device.set_names({"Ourselves", "AI8", "1.02"});
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), by_function(), "Ourselves,AI8,1.02")});
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.identity, "Ourselves,AI8,1.02") << reply.trouble;
  EXPECT_EQ(reply.channels[0].quality, Quality::good);
}

TEST_P(Bound, ADeviceThatDoesNotSayWhoItIsIsNotTheBoundOne) {
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10}), by_function(), "Ourselves,AI8,1.02")});
  const MeterReply reply = bus.read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_TRUE(holds(reply.trouble, "does not say who it is answers where `Ourselves,AI8,1.02` is bound")) << reply.trouble;
}

TEST_P(Bound, WithoutABindingWhoeverAnswersIsTakenAndNamed) {
  device.set_names({"Ourselves", "AI8", "1.02"});
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10}), by_function())});
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.identity, "Ourselves,AI8,1.02");
  EXPECT_EQ(reply.channels[0].quality, Quality::good);
}

TEST_P(Bound, WithoutABindingADeviceThatIgnoresTheQuestionIsStillRead) {
  device.fault = [](const Asked& asked) { return asked.function == 0x2B ? Fault::silent : Fault::none; };
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), by_function())});
  int good = 0;
  for (int i = 0; i < 12; ++i) good += bus.read(0).channels[0].quality == Quality::good ? 1 : 0;
  EXPECT_GE(good, 10);
}

TEST_P(Bound, ADeviceThatIsTooBusyToSayIsNotYetBelieved) {
  device.fault = [](const Asked& asked) { return asked.address == 100 ? Fault::exception : Fault::none; };
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), text_at(100, 8), "SN-0412")});
  const MeterReply reply = bus.read(0);
  EXPECT_FALSE(reply.is_stranger);
  EXPECT_EQ(reply.channels[0].quality, Quality::refused);
}

TEST_P(Bound, AWrongTypeCodeRefusesTheWholeMeter) {
  device.set(0, 17);
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), code_at(0, 4711))});
  const MeterReply reply = bus.read(0);
  EXPECT_TRUE(reply.is_stranger);
  EXPECT_EQ(reply.channels[1].quality, Quality::other_meter);
  EXPECT_TRUE(holds(reply.trouble, "holding register 0 says 17 where every such device has the type code 4711")) << reply.trouble;
}

TEST_P(Bound, ATypeCodeOneRegisterFurtherTellsOfTheSlip) {
  device.set(0, 0);
  device.set(1, 4711);
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), code_at(0, 4711))});
  EXPECT_EQ(bus.read(0).trouble, "holding register 0 says 0, the code 4711 stands at 1: every address of this file is one too low (zero-based addresses are meant)");
  const std::size_t before = device.asked_count();
  EXPECT_TRUE(holds(bus.read(0).trouble, "one too low"));
  EXPECT_EQ(device.asked_count() - before, 1u);  // looked at the neighbours once
}

TEST_P(Bound, ATypeCodeOneRegisterBeforeTellsOfTheOtherSlip) {
  device.set(4, 4711);
  connect();
  ModbusBus bus = bus_with({bound(meter_with({10, 11}), code_at(5, 4711))});
  EXPECT_TRUE(holds(bus.read(0).trouble, "the code 4711 stands at 4: every address of this file is one too high")) << bus.read(0).trouble;
}

TEST_P(Bound, ARelayOfAStrangerIsNeverSwitchedOnButOff) {
  device.set_text(100, 8, "SN-0999");
  connect();
  ModbusBus bus = bus_with({bound(relays(), text_at(100, 8), "SN-0412")});
  const auto on = bus.write_output(0, 0, true);
  ASSERT_FALSE(on);
  EXPECT_TRUE(holds(on.error().text(), "not switched on: `SN-0999` answers where `SN-0412` is bound")) << on.error().text();
  EXPECT_FALSE(device.coil(0));
  EXPECT_TRUE(bus.write_output(0, 0, false));
  EXPECT_FALSE(bus.read_output(0, 0));
}

TEST_P(Bound, ARelayOfTheBoundModuleObeys) {
  device.set_text(100, 8, "SN-0412");
  connect();
  ModbusBus bus = bus_with({bound(relays(), text_at(100, 8), "SN-0412")});
  ASSERT_TRUE(bus.write_output(0, 0, true));
  EXPECT_TRUE(device.coil(0));
  EXPECT_EQ(bus.read_output(0, 0), true);
}

TEST_P(Bound, TheLastChannelAloneRefusedTellsOfAMapThatCountsFromOne) {
  device.forbidden = {13};
  connect();
  ModbusBus bus = bus_with({meter_with({10, 11, 12, 13})});
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.channels[3].quality, Quality::refused);
  EXPECT_TRUE(holds(reply.trouble, "if these addresses were copied from a list that counts from 1, every one is one too high")) << reply.trouble;
}

TEST_P(Bound, ARefusalInTheMiddleIsNoSlip) {
  device.forbidden = {12};
  connect();
  ModbusBus bus = bus_with({meter_with({10, 11, 12, 13})});
  EXPECT_FALSE(holds(bus.read(0).trouble, "counts from 1"));
}

TEST_P(Bound, ADeviceIsNotAskedAgainBeforeItsPauseIsOver) {
  connect();
  MeterSetup slow = meter_with({10});
  slow.pause = 60ms;
  ModbusBus bus = bus_with({slow, meter_with({10}, 1)});
  (void)bus.read(0);
  const auto began = Clock::now();
  (void)bus.read(0);
  EXPECT_GE(Clock::now() - began, 50ms);
}

TEST(ModbusRtuEcho, WhatAnAdapterHearsOfItselfIsThrownAway) {
  FaultyDevice device;
  RtuFaultServer server(device, true);
  ModbusBus bus(SerialLine{server.path(), 115200, Parity::none, 8, 1}, {meter_with({10, 11})}, timeout, {Rts::none, true});
  int good = 0;
  for (int i = 0; i < 20 && good < 3; ++i) {  // a busy machine may spoil some
    const ChannelValue value = bus.read(0).channels[1];
    if (value.quality != Quality::good) continue;
    ++good;
    EXPECT_EQ(value.value, 11.0);
  }
  EXPECT_EQ(good, 3);
}

TEST(ModbusRtuEcho, AnAdapterThatHearsItselfUnsaidGivesNoValueAndAHint) {
  FaultyDevice device;
  RtuFaultServer server(device, true);
  ModbusBus bus(SerialLine{server.path(), 115200, Parity::none, 8, 1}, {meter_with({10, 11})}, timeout);
  const MeterReply reply = bus.read(0);
  EXPECT_NE(reply.channels[0].quality, Quality::good);
  EXPECT_TRUE(holds(reply.trouble, "try `echo = true`")) << reply.trouble;
}

TEST(ModbusRtuEcho, AnAdapterThatHearsNothingOfItselfGivesNoValueAndAHint) {
  FaultyDevice device;
  device.fault = [](const Asked&) { return Fault::silent; };
  RtuFaultServer server(device);
  ModbusBus bus(SerialLine{server.path(), 115200, Parity::none, 8, 1}, {meter_with({10, 11})}, timeout, {Rts::none, true});
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_TRUE(holds(reply.trouble, "does this adapter hear itself?")) << reply.trouble;
}

TEST(ModbusRtuEcho, APortWithoutRtsSaysSo) {
  FaultyDevice device;
  RtuFaultServer server(device);
  ModbusBus bus(SerialLine{server.path(), 115200, Parity::none, 8, 1}, {meter_with({10})}, timeout, {Rts::before, false});
  const MeterReply reply = bus.read(0);
  EXPECT_EQ(reply.channels[0].quality, Quality::no_answer);
  EXPECT_EQ(reply.trouble, "this port has no RTS line: remove `rts`, or use an adapter that turns by itself");
}

TEST(ModbusFlags, ABitInsideARegisterIsAState) {
  FaultyDevice device;
  device.set(7, 0x0105);
  TcpFaultServer server(device);
  MeterSetup setup = meter_with({});
  for (const int bit : {0, 1, 2, 8, 15}) {
    Channel channel = tests::input_register(7);
    channel.type = Type::bit;
    channel.bit = static_cast<std::uint8_t>(bit);
    setup.instrument.channels.push_back(channel);
  }
  ModbusBus bus(TcpEnd{"127.0.0.1", server.port()}, {setup}, timeout);
  const MeterReply reply = bus.read(0);
  std::vector<double> states;
  for (const ChannelValue& channel : reply.channels) states.push_back(channel.value);
  EXPECT_EQ(states, (std::vector<double>{1, 0, 1, 1, 0}));
  EXPECT_EQ(device.asked_count(), 1u);
}

TEST(IdentityWords, ANumberIsWrittenOut) {
  IdentityRule rule = code_at(0, 0);
  rule.is.reset();
  rule.type = Type::uint32;
  EXPECT_EQ(identity_in(rule, std::array<std::uint16_t, 2>{0x05F5, 0xE100}), "100000000");
  EXPECT_TRUE(is_expected(rule, "100000000", "100000000"));
}

TEST(IdentityWords, ATextLosesItsPaddingAndShowsNoControlCharacters) {
  const std::array<std::uint16_t, 4> words{0x4142, 0x0743, 0x2020, 0x0000};
  EXPECT_EQ(identity_in(text_at(0, 4), words), "AB?C");
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
