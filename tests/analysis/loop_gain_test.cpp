#include "analysis/loop_gain.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <numbers>
#include <numeric>
#include <random>
#include <vector>

namespace steadyglow::analysis {
namespace {

struct Case {
  const char* name;
  double volts, amperes, ohms, junction, kelvin_per_watt, millivolts_per_kelvin, thermal_millivolts, milliamperes_per_kelvin, gain;
};
// Cases of our own; G = Vce s Rth / (Re + kT/(q Ic)), recomputed in double precision; constants of the SI (2019). The last is the
// high-rail case with a bias network that follows 90 %, so that 0.2 of 2.0 mV/K stay.
constexpr std::array<Case, 7> cases{{
    {"class AB at idle", 40, 0.1, 0.22, 50, 2.0, 2.0, 27.8469, 4.01228, 0.320983},
    {"the same without emitter resistor", 40, 0.1, 0.0, 50, 2.0, 2.0, 27.8469, 7.18212, 0.574570},
    {"high rail, small resistor", 70, 0.15, 0.1, 70, 2.5, 2.0, 29.5704, 6.73093, 1.177912},
    {"class A", 25, 1.5, 0.22, 80, 1.2, 2.0, 30.4321, 8.32334, 0.249700},
    {"class A on a poor heatsink", 25, 1.5, 0.1, 90, 3.0, 2.0, 31.2938, 16.54772, 1.241079},
    {"on the border", 50, 0.1, 0.22, 25, 4.769258, 2.0, 25.6926, 4.19352, 1.0},
    {"followed to 90 %", 70, 0.15, 0.1, 70, 2.5, 0.2, 29.5704, 0.67309, 0.117791},
}};

OutputStage stage_of(const Case& row) {
  return {.collector_emitter = Volts{row.volts}, .idle = Amperes{row.amperes}, .emitter_resistor = Ohms{row.ohms},
          .to_ambient = KelvinPerWatt{row.kelvin_per_watt}, .junction = Celsius{row.junction},
          .base_volts_per_kelvin = row.millivolts_per_kelvin * 1e-3};
}

TEST(LoopGainByDataSheet, MeetsTheWorkedCases) {
  for (const Case& row : cases) {
    const OutputStage stage = stage_of(row);
    EXPECT_NEAR(thermal_voltage(stage.junction).value * 1e3, row.thermal_millivolts, 5.1e-5) << row.name;
    EXPECT_NEAR(transconductance(stage) * row.millivolts_per_kelvin, row.milliamperes_per_kelvin, 5.1e-6) << row.name;
    EXPECT_NEAR(loop_gain_by_data_sheet(stage), row.gain, 6e-7) << row.name;
  }
}

// 40 V, 0.22 ohm, 2 K/W, 2.2 mV/K: 50 mA 0.22, 100 mA 0.35, 500 mA 0.63; a bias network that follows 70 % leaves 0.3 of it (by hand,
// junction at 60 degC).
TEST(LoopGainByDataSheet, GrowsWithTheIdleCurrentAndShrinksWithTracking) {
  OutputStage stage{.collector_emitter = Volts{40.0}, .idle = Amperes{0.05}, .emitter_resistor = Ohms{0.22}, .to_ambient = KelvinPerWatt{2.0}};
  EXPECT_NEAR(loop_gain_by_data_sheet(stage), 0.22, 0.005);
  stage.idle = Amperes{0.1};
  EXPECT_NEAR(loop_gain_by_data_sheet(stage), 0.35, 0.005);
  stage.idle = Amperes{0.5};
  const double untracked = loop_gain_by_data_sheet(stage);
  EXPECT_NEAR(untracked, 0.63, 0.005);
  stage.tracking = 0.7;
  EXPECT_NEAR(loop_gain_by_data_sheet(stage), 0.3 * untracked, 1e-12);
}

// kT/q at 0, 25, 60 and 100 degC, recomputed with the constants of the SI (2019).
TEST(LoopGainByDataSheet, KnowsTheThermalVoltage) {
  constexpr std::array<std::array<double, 2>, 4> table{{{0, 23.53825}, {25, 25.69258}, {60, 28.70865}, {100, 32.15558}}};
  for (const auto& [celsius, millivolts] : table) EXPECT_NEAR(thermal_voltage(Celsius{celsius}).value * 1e3, millivolts, 5.1e-6);
}

/// An output stage on its heatsink: C dTheta/dt = I V - Theta/Rth and I = I0 + g (T - T0) + small change with the supply, integrated in
/// steps of a second; the meters have noise and digits.
struct Loop {
  double gain = 0.5;
  double minutes = 180;
  double first_minute = 0;      ///< of the run: before it nobody looked
  double kelvin_per_watt = 1.2;
  double tau_minutes = 30.0;
  double cold_watts = 18.0;     ///< at the room's temperature
  double supply_wander = 0.01;  ///< share, slow
  double room_wander = 0.0;     ///< K
  double other_watts = 0.0;     ///< counted with them, and heating something else
  double draught = 0.0;         ///< K of heating and cooling that the watts know nothing of
  double noise = 1.0;           ///< of all meters, in multiples of good ones
  std::uint32_t seed = 1;
};

struct Minutes {
  std::vector<double> current, supply, watts, rise, room;
  LoopMinutes by_current() const { return {.current = current, .supply_volts = supply, .watts = {}, .rise = rise, .room = room}; }
  LoopMinutes by_watts() const { return {.current = {}, .supply_volts = supply, .watts = watts, .rise = rise, .room = room, .heat = HeatCounted::more_than_it}; }
};

double rounded(double value, double step) { return std::round(value / step) * step; }

Minutes run(const Loop& loop) {
  constexpr double volts = 45.0;
  constexpr double room_celsius = 22.0;
  std::mt19937 random(loop.seed);
  std::normal_distribution<double> normal;
  const double amperes_per_kelvin = loop.gain / loop.kelvin_per_watt / volts;
  const double phase = normal(random);
  double rise = 0.0;
  double wander = 0.0;
  Minutes minutes;
  for (int second = 0; second < static_cast<int>((loop.first_minute + loop.minutes) * 60.0); ++second) {
    const double hours = second / 3600.0;
    if (second % 60 == 0) wander = 0.9 * wander + std::sqrt(1.0 - 0.81) * normal(random);
    const double supply = volts * (1.0 + loop.supply_wander * (0.6 * wander + std::sin(2.0 * std::numbers::pi * hours / 1.7 + phase)));
    const double room = room_celsius + loop.room_wander * std::sin(2.0 * std::numbers::pi * hours / 5.0 + phase);
    const double current = loop.cold_watts / volts * (1.0 + 0.2 * (supply / volts - 1.0)) + amperes_per_kelvin * (room + rise - room_celsius);
    rise += (current * supply * loop.kelvin_per_watt + loop.draught * std::sin(2.0 * std::numbers::pi * hours / 0.8) - rise) / (loop.tau_minutes * 60.0);
    if (second % 60 != 0 || second < loop.first_minute * 60.0) continue;
    minutes.current.push_back(rounded(current * (1.0 + 0.002 * loop.noise * normal(random)), 1e-4));
    minutes.supply.push_back(rounded(supply * (1.0 + 0.0005 * loop.noise * normal(random)), 0.01));
    minutes.watts.push_back(rounded(loop.other_watts + current * supply * (1.0 + 0.002 * loop.noise * normal(random)), 0.1));
    minutes.rise.push_back(rounded(rise + 0.05 * loop.noise * normal(random), 0.1));
    minutes.room.push_back(rounded(room + 0.02 * loop.noise * normal(random), 0.1));
  }
  return minutes;
}

double mean(const std::vector<double>& values) { return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size()); }

/// The simulated gain is that of 45 V; at another mean supply the same transistor turns a milliampere into other watts.
double true_gain(const Loop& loop, const Minutes& minutes) { return loop.gain * mean(minutes.supply) / 45.0; }

TEST(LoopGain, OfAKnownLoopIsFoundInItsWarmUp) {
  for (const double gain : {0.0, 0.3, 0.7, 0.95, 1.1}) {
    const Loop loop{.gain = gain};
    const auto minutes = run(loop);
    const auto found = find_loop_gain(minutes.by_current());
    ASSERT_TRUE(found.loop.has_value()) << gain << ", why " << static_cast<int>(found.why);
    EXPECT_NEAR(found.loop->gain, true_gain(loop, minutes), 0.01) << gain;
    EXPECT_NEAR(found.loop->kelvin_per_watt, 1.2, 0.02) << gain;
    EXPECT_NEAR(found.loop->sink_tau_minutes, 30.0, 0.6) << gain;
    EXPECT_LT(found.loop->standard_uncertainty, 0.03) << gain;
  }
}

TEST(LoopGain, TellsTheBrinkFromTheSound) {
  EXPECT_GT(find_loop_gain(run({.gain = 1.1}).by_current()).loop.value().chance_of_runaway(), 0.99);
  EXPECT_LT(find_loop_gain(run({.gain = 0.7}).by_current()).loop.value().chance_of_runaway(), 1e-6);
  EXPECT_DOUBLE_EQ((LoopGain{.gain = 1.0, .standard_uncertainty = 0.1}.chance_of_runaway()), 0.5);
  EXPECT_EQ((LoopGain{.gain = 0.9}.chance_of_runaway()), 0.0);
}

TEST(LoopGain, IsFoundLaterInTheNightFromWhatTheMainsMoves) {
  const Loop loop{.gain = 0.7, .minutes = 300, .first_minute = 300, .supply_wander = 0.03, .seed = 3};
  const auto minutes = run(loop);
  const auto found = find_loop_gain(minutes.by_current());
  ASSERT_TRUE(found.loop.has_value()) << static_cast<int>(found.why);
  EXPECT_NEAR(found.loop->gain, true_gain(loop, minutes), 2.0 * found.loop->standard_uncertainty);
}

TEST(LoopGain, IsFoundFromMainsWattsWithLossesElsewhere) {
  for (const double gain : {0.3, 0.7, 0.95, 1.1}) {
    const Loop loop{.gain = gain, .other_watts = 25.0};
    const auto minutes = run(loop);
    const auto found = find_loop_gain(minutes.by_watts());
    ASSERT_TRUE(found.loop.has_value()) << gain << ", why " << static_cast<int>(found.why);
    EXPECT_NEAR(found.loop->gain, true_gain(loop, minutes), 0.05) << gain;
    EXPECT_NEAR(found.loop->kelvin_per_watt, 1.2, 0.1) << gain;
  }
}

// Two hundred nights of other noise, length, mains and room each: two standard uncertainties should hold 95 of a hundred.
TEST(LoopGain, IsAtMostAsUncertainAsItSays) {
  constexpr int trials = 200;
  int held = 0;
  int known = 0;
  for (int i = 0; i < trials; ++i) {
    const auto pick = [i](auto values, int divisor) { return values[static_cast<std::size_t>(i / divisor) % values.size()]; };
    const Loop loop{.gain = pick(std::array{0.3, 0.7, 0.95, 1.1}, 1), .minutes = pick(std::array{45.0, 90.0, 180.0}, 4),
                    .first_minute = pick(std::array{0.0, 60.0}, 12), .room_wander = 0.5, .noise = pick(std::array{1.0, 5.0}, 24),
                    .seed = static_cast<std::uint32_t>(i) + 10};
    const auto minutes = run(loop);
    const auto found = find_loop_gain(minutes.by_current());
    if (!found.loop) continue;
    ++known;
    held += std::fabs(found.loop->gain - true_gain(loop, minutes)) <= 2.0 * found.loop->standard_uncertainty ? 1 : 0;
  }
  EXPECT_GE(known, trials * 19 / 20);
  EXPECT_GE(held, known * 19 / 20);
}

TEST(LoopGain, DoesNotDependOnHowManyTransistorsTheMeterSeesNorOnItsScale) {
  const auto minutes = run({.gain = 0.7});
  auto scaled = minutes;
  for (double& current : scaled.current) current *= 4.0 * 1.02;
  const auto one = find_loop_gain(minutes.by_current());
  const auto four = find_loop_gain(scaled.by_current());
  EXPECT_NEAR(four.loop.value().gain, one.loop.value().gain, 1e-6);
  EXPECT_NEAR(four.loop->kelvin_per_watt, one.loop->kelvin_per_watt / 4.08, 1e-6);
}

TEST(LoopGain, GrowsWithBlockedAirAtTheSameSlopeOfTheBias) {
  const auto open = find_loop_gain(run({.gain = 0.6, .kelvin_per_watt = 1.2}).by_current());
  const auto blocked = find_loop_gain(run({.gain = 0.6 * 1.4, .kelvin_per_watt = 1.2 * 1.4}).by_current());
  EXPECT_NEAR(blocked.loop.value().gain / open.loop.value().gain, 1.4, 0.05);
  EXPECT_NEAR(blocked.loop->watts_per_kelvin / open.loop->watts_per_kelvin, 1.0, 0.03);
}

TEST(LoopGain, IsNotKnownWhileTheHeatsinkStandsStill) {
  const auto found = find_loop_gain(run({.gain = 0.7, .first_minute = 900, .supply_wander = 0.0}).by_current());
  EXPECT_FALSE(found.loop.has_value());
  EXPECT_EQ(found.why, WhyNotKnown::too_little_movement);
}

TEST(LoopGain, IsNotKnownWhereTheHeatsinkFollowsSomethingElse) {
  const auto found = find_loop_gain(run({.gain = 0.3, .first_minute = 300, .draught = 15.0}).by_current());
  EXPECT_FALSE(found.loop.has_value());
  EXPECT_EQ(found.why, WhyNotKnown::does_not_fit);
}

TEST(LoopGain, IsNotKnownFromMainsWattsThatOnlyFollowTheHeat) {
  const auto found = find_loop_gain(run({.gain = 0.7, .minutes = 60, .supply_wander = 0.0, .other_watts = 25.0, .noise = 3.0}).by_watts());
  EXPECT_FALSE(found.loop.has_value());
}

TEST(LoopGain, WantsEnoughMinutesAndEverySeries) {
  const auto minutes = run({.minutes = 29});
  EXPECT_EQ(find_loop_gain(minutes.by_current()).why, WhyNotKnown::too_short);
  const auto whole = run({});
  auto without_supply = whole.by_current();
  without_supply.supply_volts = {};
  EXPECT_EQ(find_loop_gain(without_supply).why, WhyNotKnown::too_short);
  auto uneven = whole.by_current();
  uneven.rise = uneven.rise.first(100);
  EXPECT_EQ(find_loop_gain(uneven).why, WhyNotKnown::too_short);
  EXPECT_EQ(find_loop_gain({}).why, WhyNotKnown::too_short);
}

ThermalResistance steady(double rise, double watts, double noise = 0.0) {
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  std::vector<double> rises;
  std::vector<double> heat;
  for (int i = 0; i < 30; ++i) {
    rises.push_back(rise * (1.0 + noise * normal(random)));
    heat.push_back(watts * (1.0 + noise * normal(random)));
  }
  return thermal_resistance(rises, heat).value();
}

// 31 K at 118 W are 0.263 K/W; 38 K at the same watts 0.322 K/W, 23 % more: air or mounting, not bias (by hand).
TEST(ThermalResistanceOf, MoreKelvinsForTheSameWattsAreTheAirPath) {
  const auto then = steady(31.0, 118.0);
  const auto now = steady(38.0, 118.0);
  EXPECT_NEAR(then.kelvin_per_watt, 0.263, 5e-4);
  EXPECT_NEAR(now.kelvin_per_watt, 0.322, 5e-4);
  const auto comparison = compare_thermal(then, now);
  EXPECT_EQ(comparison.change, ThermalChange::air_path);
  EXPECT_NEAR(comparison.resistance_share, 0.23, 0.005);
}

TEST(ThermalResistanceOf, MoreWattsWithTheirKelvinsAreNotTheAirPath) {
  EXPECT_EQ(compare_thermal(steady(31.0, 118.0), steady(38.0, 118.0 * 38.0 / 31.0)).change, ThermalChange::more_heat);
  EXPECT_EQ(compare_thermal(steady(31.0, 118.0), steady(50.0, 150.0)).change, ThermalChange::both);
  EXPECT_EQ(compare_thermal(steady(31.0, 118.0), steady(32.0, 119.0)).change, ThermalChange::none);
  EXPECT_EQ(compare_thermal(steady(31.0, 118.0), steady(20.0, 118.0)).change, ThermalChange::better);
}

TEST(ThermalResistanceOf, ChangesBelowItsUncertaintyAreNone) {
  const auto then = thermal_resistance(std::vector<double>(30, 31.0), std::vector<double>(30, 118.0), 1.5, 2.4);
  const auto now = thermal_resistance(std::vector<double>(30, 34.7), std::vector<double>(30, 118.0), 1.5, 2.4);
  const auto comparison = compare_thermal(then.value(), now.value());
  EXPECT_NEAR(comparison.resistance_share, 0.12, 0.005);
  EXPECT_NEAR(comparison.resistance_share_uncertainty, 0.08, 0.005);
  EXPECT_EQ(comparison.change, ThermalChange::none);
  EXPECT_EQ(compare_thermal(steady(31.0, 118.0, 0.002), steady(34.7, 118.0, 0.002)).change, ThermalChange::air_path);
}

TEST(ThermalResistanceOf, AWarmUpIsNotKnownYet) {
  const auto minutes = run({.minutes = 40});
  EXPECT_FALSE(thermal_resistance(minutes.rise, minutes.watts).has_value());
  EXPECT_FALSE(thermal_resistance(std::vector<double>(30, 31.0), std::vector<double>(30, 0.0)).has_value());
  EXPECT_FALSE(thermal_resistance(std::vector<double>(4, 31.0), std::vector<double>(4, 118.0)).has_value());
}

}  // namespace
}  // namespace steadyglow::analysis
