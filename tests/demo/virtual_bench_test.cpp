#include "demo/bench/virtual_bench.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "flat_night.hpp"

namespace steadyglow::demo {
namespace {

using enum Model;

TEST(Relays, ArePoweredUpOpen) {
  VirtualBench bench(night_of(flat()));
  bench.advance(10min);
  for (std::size_t i = 0; i < relays; ++i) EXPECT_FALSE(bench.coil(i));
  for (const UnitTruth& unit : bench.truth()) {
    EXPECT_FALSE(unit.is_powered);
    EXPECT_EQ(unit.watts, 0.0);
  }
}

TEST(Relays, AnOpenOneTakesWattsAndCurrentsAwayWithinFiftyMilliseconds) {
  VirtualBench bench = running(night_of(flat()));
  bench.advance(2h);
  for (std::size_t i = 0; i < model_count; ++i) bench.set_coil(i, false);
  bench.advance(2h + 50ms);
  for (const UnitTruth& unit : bench.truth()) {
    EXPECT_EQ(unit.watts, 0.0) << to_word(unit.model);
    EXPECT_EQ(unit.amperes, 0.0) << to_word(unit.model);
    EXPECT_EQ(unit.lost_power_at, 7200.0);
  }
  EXPECT_EQ(signal(bench, brindlecombe35, "v3_cathode_mv"), 0.0);
  EXPECT_EQ(signal(bench, fennimark120, "idle_left_mv"), 0.0);
  EXPECT_NEAR(bench.weather().mains_volts, 230.0, 0.01) << "the mains are there, before the relay";
}

TEST(Relays, OneUnitCutLeavesTheOthersAlone) {
  VirtualBench bench = running(night_of(flat()));
  bench.advance(2h);
  const double watts = truth_of(bench, fennimark120).watts;
  bench.set_coil(relay_of(brindlecombe35), false);
  bench.advance(2h + 1min);
  EXPECT_NEAR(truth_of(bench, fennimark120).watts, watts, 0.1);
}

TEST(Relays, BPlusBleedsExponentiallyAndIsSafeAfterMinutes) {
  VirtualBench bench = running(night_of(flat()));
  bench.advance(1h);
  bench.set_coil(relay_of(brindlecombe35), false);
  const auto after = [&](std::chrono::milliseconds time) {
    bench.advance(1h + time);
    return signal(bench, brindlecombe35, "b_plus_v");
  };
  const double at_2 = after(2s);
  const double at_12 = after(12s);
  const double at_22 = after(22s);
  EXPECT_GT(at_2, 200.0) << "it is not gone at once";
  EXPECT_NEAR(at_22 / at_12, at_12 / at_2, 1e-6);
  EXPECT_LT(after(2min), 50.0);
}

TEST(Relays, WhatIsOffCoolsDownToTheRoom) {
  VirtualBench bench = running(night_of(flat()));
  bench.advance(4h);
  for (std::size_t i = 0; i < model_count; ++i) bench.set_coil(i, false);
  bench.advance(16h);
  for (const UnitTruth& unit : bench.truth())
    for (const Signal& signal : unit.signals) {
      if (signal.uom == "Cel") { EXPECT_NEAR(signal.value, bench.weather().room_celsius, 0.5) << signal.name; }
    }
}

TEST(Relays, AWeldedOneStaysClosedWhateverTheCoilSays) {
  VirtualBench bench = running(night_of(flat(230.0, 23.0, "[[fault]]\nunit = \"brindlecombe35\"\nkind = \"welded_relay\"\nat = \"21:00\"\n")));
  bench.advance(30min);
  bench.set_coil(relay_of(brindlecombe35), false);
  EXPECT_FALSE(truth_of(bench, brindlecombe35).is_powered) << "it still obeys";
  bench.set_coil(relay_of(brindlecombe35), true);
  bench.advance(61min);
  bench.set_coil(relay_of(brindlecombe35), false);
  bench.advance(62min);
  EXPECT_FALSE(truth_of(bench, brindlecombe35).is_coil_on);
  EXPECT_TRUE(truth_of(bench, brindlecombe35).is_powered);
  EXPECT_GT(truth_of(bench, brindlecombe35).watts, 90.0);
}

std::vector<std::uint16_t> everything(const VirtualBench& bench) {
  std::vector<std::uint16_t> all;
  for (const Device& device : devices()) {
    const Registers registers = bench.read(device);
    all.insert(all.end(), registers.inputs.begin(), registers.inputs.end());
    all.insert(all.end(), registers.holdings.begin(), registers.holdings.end());
  }
  return all;
}

TEST(VirtualBench, ReadingItOftenOrSeldomChangesNothing) {
  const Night night = night_of(source_file("demo/nights/night.toml"));
  VirtualBench often = running(night);
  VirtualBench seldom = running(night);
  for (int i = 1; i <= 20000; ++i) {
    often.advance(i * 370ms);
    (void)often.read(*find_device(1 + i % 3));
  }
  seldom.advance(20000 * 370ms);
  EXPECT_EQ(everything(often), everything(seldom));
}

TEST(VirtualBench, TheSameNightAndTheSameOrdersGiveTheSameReadings) {
  const Night night = night_of(source_file("demo/nights/night.toml"));
  std::vector<std::vector<std::uint16_t>> runs;
  for (int i = 0; i < 2; ++i) {
    VirtualBench bench = running(night);
    bench.advance(2h + 123ms);
    bench.set_coil(1, false);
    bench.advance(2h + 7min);
    bench.set_coil(1, true);
    bench.advance(8h);
    runs.push_back(everything(bench));
  }
  EXPECT_EQ(runs[0], runs[1]);
}

TEST(VirtualBench, AnotherSeedIsAnotherNight) {
  Night night = night_of(source_file("demo/nights/night.toml"));
  VirtualBench one = running(night);
  night.seed += 1;
  VirtualBench other = running(night);
  one.advance(2h);
  other.advance(2h);
  EXPECT_NE(everything(one), everything(other));
}

TEST(VirtualBench, AnEmptyPlaceReadsAsAnOpenInput) {
  Night night = night_of(flat());
  night.units = {hollin_p4};
  VirtualBench bench(night);
  const Registers registers = bench.read(*find_device(1));
  EXPECT_EQ(registers.inputs, std::vector<std::uint16_t>(8, 0x8000));
}

// The night that the demo shows, if nobody acted.
TEST(DemoNight, HasAMainsStepASagAndAColdRoom) {
  VirtualBench bench = running(night_of(source_file("demo/nights/night.toml")));
  bench.advance(3h + 14min);
  EXPECT_NEAR(bench.weather().mains_volts, 230.0, 1.0);
  bench.advance(3h + 16min);
  EXPECT_NEAR(bench.weather().mains_volts, 237.0, 1.0);
  bench.advance(5h + 12min + 33s);
  EXPECT_LT(bench.weather().mains_volts, 210.0);
  bench.advance(10h);
  EXPECT_NEAR(bench.weather().room_celsius, 15.0, 1.0);
  bench.advance(20h);
  EXPECT_NEAR(bench.weather().room_celsius, 23.0, 1.0);
}

TEST(DemoNight, NobodyActingSpoilsTheTubeAndNothingElse) {
  VirtualBench bench = running(night_of(source_file("demo/nights/night.toml")));
  bench.advance(24h);
  EXPECT_TRUE(truth_of(bench, brindlecombe35).damaged_at.has_value());
  EXPECT_FALSE(truth_of(bench, fennimark120).damaged_at.has_value());
  EXPECT_FALSE(truth_of(bench, hollin_p4).damaged_at.has_value());
  EXPECT_LT(signal(bench, fennimark120, "idle_left_mv"), 15.0) << "the creep does not reach its limit in this night";
  EXPECT_GT(signal(bench, fennimark120, "idle_left_mv"), 12.0) << "but it is well on its way";
}

TEST(HealthyNight, NoTubeComesNearItsWarning) {
  VirtualBench bench = running(night_of(source_file("demo/nights/healthy.toml")));
  bench.advance(24h);
  EXPECT_LT(truth_of(bench, brindlecombe35).worst_percent, 75.0);  // of rated dissipation: where the trade warns
  for (const UnitTruth& unit : bench.truth()) EXPECT_FALSE(unit.damaged_at.has_value());
}

TEST(Chance, IsNormalWhereItSaysSo) {
  double sum = 0.0;
  double squares = 0.0;
  constexpr int count = 200000;
  for (std::uint64_t i = 0; i < count; ++i) {
    const double value = normal({1, 2}, i);
    sum += value;
    squares += value * value;
  }
  EXPECT_NEAR(sum / count, 0.0, 0.01);
  EXPECT_NEAR(squares / count, 1.0, 0.02);
}

TEST(Chance, AWanderKeepsItsSpreadAndForgetsWithItsTimeConstant) {
  Wander wander({3, 4}, 2.0, 30.0);
  double squares = 0.0;
  double products = 0.0;
  double before = 0.0;
  constexpr int count = 100000;
  for (int i = 0; i < count; ++i) {
    const double value = wander.at(60.0 * 30.0 * i);
    squares += value * value;
    products += value * before;
    before = value;
  }
  EXPECT_NEAR(std::sqrt(squares / count), 2.0, 0.05);
  EXPECT_NEAR(products / squares, std::exp(-1.0), 0.02);
}

// The bench's own parts.
TEST(Contactor, BreaksEveryUnitAlsoOneWhoseRelayHasWelded) {
  VirtualBench bench = running(night_of(source_file("demo/nights/welded.toml")));
  bench.advance(2h);
  bench.set_coil(relay_of(brindlecombe35), false);
  bench.advance(2h + 1min);
  EXPECT_TRUE(truth_of(bench, brindlecombe35).is_powered) << "it has welded";
  bench.set_coil(contactor_coil, false);
  EXPECT_FALSE(truth_of(bench, brindlecombe35).is_powered);
  EXPECT_FALSE(truth_of(bench, hollin_p4).is_powered);
}

TEST(MainsFailure, LeavesEveryContactOpenWhenTheMainsComeBack) {
  VirtualBench bench = running(night_of(source_file("demo/nights/powercut.toml")));
  bench.advance(3h + 29min);
  EXPECT_TRUE(truth_of(bench, hollin_p4).is_powered);
  bench.advance(3h + 31min);
  EXPECT_TRUE(bench.is_dark());
  bench.advance(4h + 30min);
  EXPECT_FALSE(bench.is_dark());
  EXPECT_FALSE(bench.coil(contactor_coil));
  EXPECT_FALSE(truth_of(bench, hollin_p4).is_powered);
}

}  // namespace
}  // namespace steadyglow::demo
