#include "outlet/keeper.hpp"

#include <gtest/gtest.h>

namespace steadyglow::outlet {
namespace {

using std::chrono::milliseconds;

const Instant start{};

TEST(Keeper, WritesNothingUntilSomebodyOrders) {
  Keeper keeper;
  for (int i = 0; i < 1000; ++i) EXPECT_FALSE(keeper.next_write(start + milliseconds{100 * i}).has_value());
}

TEST(Keeper, RepeatsOffUntilTheRelayAcceptsIt) {
  Keeper keeper;
  keeper.open("trip", true);
  int writes = 0;
  for (int i = 0; i < 50; ++i) {
    const auto write = keeper.next_write(start + milliseconds{100 * i});
    if (!write) continue;
    EXPECT_FALSE(*write);
    keeper.answered(false, ++writes == 4);
  }
  EXPECT_EQ(writes, 4);
  EXPECT_TRUE(keeper.is_accepted());
}

TEST(Keeper, AfterATripOnlyAPersonAtTheBenchSwitchesOn) {
  Keeper keeper;
  keeper.open("trip", true);
  EXPECT_FALSE(keeper.close("Ada", false).has_value());
  EXPECT_EQ(keeper.wanted(), Wanted::off);
  EXPECT_TRUE(keeper.close("Ada", true).has_value());
  EXPECT_EQ(keeper.wanted(), Wanted::on);
}

TEST(Keeper, NobodySwitchesOnWithoutAName) {
  Keeper keeper;
  EXPECT_FALSE(keeper.close("", true).has_value());
}

TEST(Keeper, AnOffThatOvertakesASwitchOnWins) {
  Keeper keeper;
  ASSERT_TRUE(keeper.close("Ada", true).has_value());
  ASSERT_EQ(keeper.next_write(start), true);
  keeper.open("trip", true);
  EXPECT_FALSE(keeper.next_write(start).has_value()) << "one write at a time";
  keeper.answered(true, true);
  EXPECT_EQ(keeper.next_write(start), false);
}

TEST(Keeper, ASwitchOnThatFailsIsNotTriedAgainByItself) {
  Keeper keeper;
  ASSERT_TRUE(keeper.close("Ada", true).has_value());
  ASSERT_EQ(keeper.next_write(start), true);
  keeper.answered(true, false);
  for (int i = 1; i < 100; ++i)
    if (const auto write = keeper.next_write(start + milliseconds{100 * i})) {
      EXPECT_FALSE(*write);
      keeper.answered(*write, false);
    }
}

TEST(Keeper, ALaterOffWithoutATripDoesNotUnlock) {
  Keeper keeper;
  keeper.open("trip", true);
  keeper.open("a person", false);
  EXPECT_TRUE(keeper.is_locked());
}

}  // namespace
}  // namespace steadyglow::outlet
