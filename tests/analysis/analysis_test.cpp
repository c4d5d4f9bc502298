#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

#include "analysis/compensation.hpp"
#include "analysis/contact.hpp"
#include "analysis/limit.hpp"
#include "analysis/minute.hpp"
#include "analysis/runaway.hpp"
#include "analysis/statistics.hpp"
#include "analysis/trend.hpp"

namespace steadyglow::analysis {
namespace {

using namespace std::chrono_literals;

Timestamp at_s(double seconds) { return at_ms(static_cast<std::int64_t>(seconds * 1000.0)); }

// NIST StRD linear regression data set Norris, 36 observations, lower difficulty; certified slope and its standard
// deviation as published there.
constexpr std::array<std::array<double, 2>, 36> norris{{{0.2, 0.1},     {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2},
                                                        {226.5, 228.1}, {666.3, 668.5}, {996.3, 998.5}, {448.6, 449.1}, {777.0, 778.9},
                                                        {558.2, 559.2}, {0.4, 0.3},     {0.6, 0.1},     {775.5, 778.1}, {666.9, 668.8},
                                                        {338.0, 339.3}, {447.5, 448.9}, {11.6, 10.8},   {556.0, 557.7}, {228.1, 228.3},
                                                        {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3},     {0.3, 0.6},
                                                        {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9},
                                                        {11.1, 10.2},   {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2},
                                                        {0.5, 0.2}}};

TEST(Line, MeetsTheCertifiedValuesOfNorris) {
  std::vector<double> x;
  std::vector<double> y;
  for (const auto& row : norris) {
    x.push_back(row[0]);
    y.push_back(row[1]);
  }
  const auto fit = fit_line(x, y);
  ASSERT_TRUE(fit.has_value());
  EXPECT_NEAR(fit->slope, 1.00211681802045, 1e-12);
  EXPECT_NEAR(fit->intercept, -0.262323073774029, 1e-10);
  EXPECT_NEAR(fit->slope_se, 0.429796848199937e-3, 1e-13);
  EXPECT_NEAR(fit->residual_sd, 0.884796396144373, 1e-11);
}

// Student's t, two-sided 95 %: 12.706, 2.228, 1.980 for 1, 10, 120 degrees of freedom (NIST/SEMATECH e-Handbook 1.3.6.7.2).
TEST(Line, UsesStudentsTable) {
  EXPECT_NEAR(student_t95(1), 12.706, 5e-4);
  EXPECT_NEAR(student_t95(10), 2.228, 5e-4);
  EXPECT_NEAR(student_t95(120), 1.980, 5e-4);
}

TEST(Line, AnIntervalForAutocorrelatedNoiseHoldsTheTruthAsOftenAsItSays) {
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  int held = 0;
  constexpr int trials = 400;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> x;
    std::vector<double> y;
    double wander = 0.0;
    for (int i = 0; i < 360; ++i) {
      wander = 0.7 * wander + normal(random);
      x.push_back(i / 60.0);
      y.push_back(0.5 * x.back() + wander);
    }
    const auto fit = fit_line(x, y);
    held += fit->slope_low <= 0.5 && 0.5 <= fit->slope_high ? 1 : 0;
  }
  EXPECT_GE(held, trials * 90 / 100);
  EXPECT_LE(held, trials * 99 / 100);
}

// Limit 70, deadband 2, on-delay 3 s, off-delay 5 s; the meaning of the delays after OPC UA Part 9, the trace is our own.
TEST(Limit, ActsAfterTheOnDelayAndReturnsAfterTheOffDelay) {
  LimitWatch watch({70.0, true, 2.0, 3s, 5s});
  const std::array<double, 18> values{69.0, 71.0, 69.5, 70.5, 71.0, 71.2, 71.1, 69.0, 67.9, 67.5, 68.4, 67.8, 67.5, 67.2, 67.0, 66.9, 66.8, 66.7};
  for (std::size_t t = 0; t < values.size(); ++t) {
    watch.step(at_s(static_cast<double>(t)), values[t]);
    EXPECT_EQ(watch.is_active(), t >= 6 && t < 16) << "at second " << t;
  }
}

TEST(Limit, DoesNotBridgeAGap) {
  LimitWatch watch({70.0, true, 2.0, 60s, 5s});
  watch.step(at_s(0), 71.0);
  EXPECT_FALSE(watch.step(at_s(3600), 71.0).has_value());
}

TEST(Minute, IsTheMedianOfItsSamplesHoweverMany) {
  MinuteCollector minute;
  for (int i = 0; i < 6000; ++i) EXPECT_FALSE(minute.add(at_ms(i * 10), i % 100 == 0 ? 1e6 : 5.0).has_value());
  const auto closed = minute.close_before(at_s(60));
  ASSERT_TRUE(closed.has_value());
  EXPECT_EQ(closed->median, 5.0);
  EXPECT_EQ(closed->count, 6000u);
}

TEST(Mains, ExponentIsLearnedFromStepsAndNotFromADrift) {
  MainsExponent exponent(expect(profile::Role::bias, Quantity::voltage));
  std::mt19937 random(3);
  std::normal_distribution<double> normal;
  for (int minute = 0; minute < 600; ++minute) {
    const double ln_mains = 0.01 * std::sin(minute / 15.0) + (minute > 300 ? 0.03 : 0.0);
    const double drift = 0.0005 * minute;  // 3 % an hour, all through
    exponent.learn(minute, std::log(380.0) + 1.9 * ln_mains + drift + 0.0005 * normal(random), ln_mains);
  }
  EXPECT_NEAR(exponent.value(), 1.9, 0.15);
}

TEST(Lag, ReachesSixtyThreePercentInOneTimeConstant) {
  Lag lag(30.0);
  lag.step(0, 0.0);
  double value = 0.0;
  for (int minute = 1; minute <= 30; ++minute) value = lag.step(minute, 1.0);
  EXPECT_NEAR(value, 1.0 - std::exp(-1.0), 1e-9);
}

// 0.047 +- 0.015 mA/h to +7.3 mA: 156 h (119 to 228) (own arithmetic).
TEST(Trend, GivesTheTimeToALimitAsARange) {
  LineFit fit;
  fit.slope = 0.047;
  fit.slope_low = 0.032;
  fit.slope_high = 0.062;
  const auto range = hours_to_limit(0.0, 7.3, fit);
  ASSERT_TRUE(range.has_value());
  EXPECT_NEAR(range->likely, 155.3, 0.1);
  EXPECT_NEAR(range->least, 117.7, 0.1);
  EXPECT_NEAR(range->most.value(), 228.1, 0.1);
  EXPECT_FALSE(hours_to_limit(0.0, -7.3, fit).has_value());
}

TEST(Runaway, IsToldFromAStraightRamp) {
  std::vector<double> ramp;
  std::vector<double> runaway;
  for (int minute = 0; minute < 39; ++minute) {
    ramp.push_back(380.0 + (minute > 15 ? 4.0 * (minute - 15) : 0.0));
    runaway.push_back(380.0 + 2.0 * std::exp2((minute - 15) / 6.0));
  }
  const RunawayPolicy policy{15.0, 4.5};
  EXPECT_FALSE(judge_runaway(ramp, policy).has_value());
  const auto found = judge_runaway(runaway, policy);
  ASSERT_TRUE(found.has_value());
  EXPECT_NEAR(found->doubling_minutes, 6.0, 0.3);
  // 2 * 2^(23/6) = 28.5 of excess at the end; 76 mV (the warning at 460 with 4 mV of rest) is 1.5 doublings away.
  EXPECT_NEAR(found->minutes_to(460.0).value(), 9.0, 2.0);
}

TEST(Contact, TheWattsDecide) {
  for (const bool unit_changed : {false, true}) {
    ContactWatch watch;
    watch.learn(9.8, 61.0, 0);
    EXPECT_EQ(watch.step(at_s(0), 0.1, 61.0, at_s(-1), false), ContactVerdict::suspect);
    const auto verdict = watch.step(at_s(3), 0.1, unit_changed ? 44.0 : 61.2, at_s(3), false);
    EXPECT_EQ(verdict, unit_changed ? ContactVerdict::real : ContactVerdict::lost);
  }
}

// The minute in which a stage died is closed when the watts have long fallen: its level and these watts never stood together.
TEST(Contact, TheMinuteBeforeARealFallIsNoLevelToFallFrom) {
  ContactWatch watch;
  watch.learn(9.8, 61.0, 321);
  EXPECT_EQ(watch.step(at_s(19346.8), 0.1, 61.0, at_s(19326.6), false), ContactVerdict::suspect);
  EXPECT_EQ(watch.step(at_s(19366.2), 0.1, 44.0, at_s(19347.8), false), ContactVerdict::suspect);
  EXPECT_EQ(watch.step(at_s(19386.3), 0.2, 44.0, at_s(19367.2), false), ContactVerdict::real);
  watch.learn(9.7, 44.0, 322);
  for (const double at : {19406.1, 19426.2, 19446.0}) EXPECT_EQ(watch.step(at_s(at), 0.1, 44.0, at_s(at - 18.0), false), ContactVerdict::fine);
}

TEST(Contact, WhatChangesInCompanyIsTheUnit) {
  ContactWatch watch;
  watch.learn(9.8, 61.0, 0);
  EXPECT_EQ(watch.step(at_s(0), 0.1, 61.0, at_s(-1), false), ContactVerdict::suspect);
  EXPECT_EQ(watch.step(at_s(3), 0.1, 61.2, at_s(3), true), ContactVerdict::real);
}

TEST(Contact, WithoutWattsAFallToNothingAtAllIsTheClip) {
  for (const double left : {0.1, 0.8}) {
    ContactWatch watch;
    watch.learn(9.8, std::nullopt, 0);
    EXPECT_EQ(watch.step(at_s(0), left, std::nullopt, at_s(0), false), ContactVerdict::suspect);
    EXPECT_EQ(watch.step(at_s(110), left, std::nullopt, at_s(0), false), left < 0.2 ? ContactVerdict::lost : ContactVerdict::real);
  }
}

TEST(Contact, ThreeReadingsAtTheOldLevelBringItBack) {
  ContactWatch watch;
  watch.learn(9.8, 61.0, 0);
  watch.step(at_s(0), 0.1, 61.0, at_s(-1), false);
  watch.step(at_s(3), 0.1, 61.0, at_s(3), false);
  EXPECT_EQ(watch.step(at_s(100), 9.7, 61.0, at_s(99), false), ContactVerdict::lost);
  EXPECT_EQ(watch.step(at_s(101), 9.7, 61.0, at_s(99), false), ContactVerdict::lost);
  EXPECT_EQ(watch.step(at_s(102), 9.7, 61.0, at_s(99), false), ContactVerdict::fine);
}

}  // namespace
}  // namespace steadyglow::analysis
