#include "drivers/modbus/plan.hpp"

#include <gtest/gtest.h>

#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::drivers::modbus {
namespace {

Channel at(RegisterTable table, std::uint16_t address, Type type = Type::int16) {
  Channel channel;
  channel.table = table;
  channel.address = address;
  channel.type = type;
  return channel;
}

Instrument with(std::vector<Channel> channels, int gap = 0) {
  Instrument instrument;
  instrument.channels = std::move(channels);
  instrument.gap_registers_max = gap;
  return instrument;
}

TEST(Plan, NeighboursTravelTogether) {
  const auto plan = plan_requests(with({at(RegisterTable::input, 2), at(RegisterTable::input, 0), at(RegisterTable::input, 1)}));
  ASSERT_EQ(plan.size(), 1u);
  EXPECT_EQ(plan[0].address, 0);
  EXPECT_EQ(plan[0].count, 3);
  EXPECT_EQ(plan[0].channels, (std::vector<std::size_t>{1, 2, 0}));
}

TEST(Plan, TablesAreNeverMixed) {
  EXPECT_EQ(plan_requests(with({at(RegisterTable::input, 0), at(RegisterTable::holding, 1)})).size(), 2u);
}

TEST(Plan, AGapIsReadOverOnlyWhereTheInstrumentAllowsIt) {
  const std::vector<Channel> channels{at(RegisterTable::input, 0), at(RegisterTable::input, 3)};
  EXPECT_EQ(plan_requests(with(channels, 0)).size(), 2u);
  EXPECT_EQ(plan_requests(with(channels, 1)).size(), 2u);
  EXPECT_EQ(plan_requests(with(channels, 2)).size(), 1u);
}

TEST(Plan, AGapIsReadOverOnlyWhereThatIsCheaperThanOneMoreRequest) {
  // A request costs 20 characters on a serial line, a register 2: ten unused registers are as long as asking again.
  const auto apart = [](std::uint16_t gap) { return with({at(RegisterTable::input, 0), at(RegisterTable::input, static_cast<std::uint16_t>(1 + gap))}, 100); };
  EXPECT_EQ(plan_requests(apart(9)).size(), 1u);
  EXPECT_EQ(plan_requests(apart(11)).size(), 2u);
  EXPECT_EQ(plan_requests(apart(99), tcp_request_costs_registers).size(), 1u);
}

TEST(Plan, CutsWhereTheGapIs) {
  // Five registers at most: taking 0 to 4 first would read over the gap and still need two more requests.
  Instrument instrument = with({at(RegisterTable::input, 0), at(RegisterTable::input, 1), at(RegisterTable::input, 4), at(RegisterTable::input, 5), at(RegisterTable::input, 6),
                                at(RegisterTable::input, 7), at(RegisterTable::input, 8)}, 4);
  instrument.registers_per_request_max = 5;
  const auto plan = plan_requests(instrument);
  ASSERT_EQ(plan.size(), 2u);
  EXPECT_EQ(plan[0].count, 2);
  EXPECT_EQ(plan[1].count, 5);
}

TEST(Plan, BitsAreMergedWithoutGaps) {
  const auto plan = plan_requests(with({at(RegisterTable::discrete, 0, Type::bit), at(RegisterTable::discrete, 1, Type::bit), at(RegisterTable::discrete, 3, Type::bit)}, 5));
  EXPECT_EQ(plan.size(), 2u);
}

TEST(Plan, A32BitValueIsNeverCutInTwo) {
  Instrument instrument = with({at(RegisterTable::input, 0, Type::float32), at(RegisterTable::input, 2, Type::float32)});
  instrument.registers_per_request_max = 3;
  const auto plan = plan_requests(instrument);
  ASSERT_EQ(plan.size(), 2u);
  EXPECT_EQ(plan[0].count, 2);
  EXPECT_EQ(plan[1].count, 2);
}

TEST(Plan, NoRequestExceeds125Registers) {  // V1.1b3, sections 6.3 and 6.4
  std::vector<Channel> channels;
  for (std::uint16_t i = 0; i < 250; ++i) channels.push_back(at(RegisterTable::holding, i));
  const auto plan = plan_requests(with(channels));
  ASSERT_EQ(plan.size(), 2u);
  EXPECT_EQ(plan[0].count, 125);
  EXPECT_EQ(plan[1].count, 125);
}

TEST(Plan, NoRequestExceeds2000Bits) {  // V1.1b3, sections 6.1 and 6.2
  std::vector<Channel> channels;
  for (std::uint16_t i = 0; i < 2001; ++i) channels.push_back(at(RegisterTable::coil, i, Type::bit));
  const auto plan = plan_requests(with(channels));
  ASSERT_EQ(plan.size(), 2u);
  EXPECT_EQ(plan[0].count, 2000);
}

TEST(Plan, TwoChannelsMayShareARegister) {
  const auto plan = plan_requests(with({at(RegisterTable::input, 0, Type::uint32), at(RegisterTable::input, 1)}));
  ASSERT_EQ(plan.size(), 1u);
  EXPECT_EQ(plan[0].count, 2);
}

TEST(Plan, HalvesCoverTheSameChannels) {
  const Instrument instrument = with({at(RegisterTable::input, 0), at(RegisterTable::input, 1), at(RegisterTable::input, 2, Type::float32)});
  const auto [first, second] = halves(plan_requests(instrument)[0], instrument);
  EXPECT_EQ(first.channels, (std::vector<std::size_t>{0}));
  EXPECT_EQ(first.count, 1);
  EXPECT_EQ(second.channels, (std::vector<std::size_t>{1, 2}));
  EXPECT_EQ(second.address, 1);
  EXPECT_EQ(second.count, 3);
}

TEST(SyncProbe, HasACountThatNoPlannedRequestHas) {
  const Instrument instrument = with({at(RegisterTable::input, 0), at(RegisterTable::input, 1), at(RegisterTable::input, 5)});
  // Planned: 2 registers, 1 register. Both are taken, so the probe must be another, though it reaches past the map.
  const SyncProbe probe = choose_sync_probe(instrument, plan_requests(instrument), {});
  EXPECT_EQ(probe.count, 3);
  EXPECT_TRUE(probe.may_be_refused);
}

TEST(SyncProbe, StaysWithinTheMapIfItCan) {
  const Instrument instrument = with({at(RegisterTable::input, 10), at(RegisterTable::input, 11), at(RegisterTable::input, 12)});
  const SyncProbe probe = choose_sync_probe(instrument, plan_requests(instrument), {});
  EXPECT_EQ(probe.address, 10);
  EXPECT_EQ(probe.count, 1);
  EXPECT_FALSE(probe.may_be_refused);
}

TEST(SyncProbe, AvoidsTheShapeOfAnUnansweredRequest) {
  const Instrument instrument = with({at(RegisterTable::input, 10), at(RegisterTable::input, 11), at(RegisterTable::input, 12)});
  const SyncProbe probe = choose_sync_probe(instrument, plan_requests(instrument), {{RegisterTable::input, 10, 1, {}}});
  EXPECT_EQ(probe.count, 2);
}

TEST(SyncProbe, AvoidsTheShapeOfTheQuestionWhoItIs) {
  Instrument instrument = with({at(RegisterTable::input, 10), at(RegisterTable::input, 11), at(RegisterTable::input, 12)});
  instrument.identity.source = IdentityRule::Source::registers;
  instrument.identity.table = RegisterTable::input;
  instrument.identity.count = 1;
  EXPECT_EQ(choose_sync_probe(instrument, plan_requests(instrument), {}).count, 2);
}

TEST(SyncProbe, OfBitsDiffersInBytesNotOnlyInBits) {
  // Eight coils and seven come in one byte each: only a ninth makes the answer another one.
  Instrument instrument = with({at(RegisterTable::coil, 0, Type::bit), at(RegisterTable::coil, 1, Type::bit)});
  EXPECT_EQ(choose_sync_probe(instrument, plan_requests(instrument), {}).count, 16);
}

TEST(SyncProbe, AtTheLastRegisterStaysWithinTheAddresses) {
  const Instrument instrument = with({at(RegisterTable::input, 65535)});
  const SyncProbe probe = choose_sync_probe(instrument, plan_requests(instrument), {});
  EXPECT_EQ(probe.address + probe.count, 65536);
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
