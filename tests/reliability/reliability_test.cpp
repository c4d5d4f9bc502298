#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

#include "reliability/bounds.hpp"
#include "reliability/soak_yield.hpp"
#include "reliability/survival.hpp"
#include "reliability/weibull.hpp"

namespace steadyglow::reliability {
namespace {

/// An invented shop: sixty units soaked for 48 h, eight of them failed on the way.
std::vector<Life> sixty_units() {
  std::vector<Life> lives;
  for (const double hours : {0.5, 1.2, 3.0, 6.0, 11.0, 19.0, 27.0, 41.0}) lives.push_back({hours, true});
  lives.resize(60, Life{48.0, false});
  return lives;
}

std::vector<Life> all_well(std::size_t units, double hours) { return std::vector<Life>(units, Life{hours, false}); }

// --- survival

TEST(Survival, StartsAtAllRunning) {
  const auto curve = kaplan_meier(sixty_units()).value();
  EXPECT_EQ(survival_at(curve, 0.1).survival, 1.0);
  EXPECT_EQ(survival_at(curve, 0.1).at_risk, 60u);
}

TEST(Survival, WithoutCensoringItIsTheShareStillRunning) {
  const auto curve = kaplan_meier(sixty_units()).value();
  EXPECT_NEAR(survival_at(curve, 6.0).survival, 56.0 / 60.0, 1e-12);
}

TEST(Survival, BandStaysInside) {
  const auto curve = kaplan_meier(sixty_units()).value();
  for (const auto& step : curve.steps) {
    EXPECT_GT(step.band.low, 0.0);
    EXPECT_LT(step.band.high, 1.0);
    EXPECT_LT(step.band.low, step.survival);
    EXPECT_GT(step.band.high, step.survival);
  }
}

TEST(Survival, NobodyFailedIsNoStep) { EXPECT_TRUE(kaplan_meier(all_well(5, 48.0)).value().steps.empty()); }

TEST(Survival, NobodyLeftKeepsAnUpperEnd) {
  const std::vector<Life> lives{{3.0, true}, {9.0, true}};
  const auto curve = kaplan_meier(lives).value();
  EXPECT_EQ(curve.steps.back().survival, 0.0);
  EXPECT_EQ(curve.steps.back().band.low, 0.0);
  EXPECT_EQ(curve.steps.back().band.high, curve.steps.front().band.high);
}

TEST(Survival, RefusesNoUnits) { EXPECT_FALSE(kaplan_meier({}).has_value()); }

TEST(Survival, RefusesHoursThatAreNone) {
  const std::vector<Life> lives{{3.0, true}, {0.0, true}};
  const auto curve = kaplan_meier(lives);
  ASSERT_FALSE(curve.has_value());
  EXPECT_NE(curve.error().message.find("unit 2"), std::string::npos);
}

// --- Weibull

TEST(WeibullFit, RefusesFourFailures) {
  std::vector<Life> lives = sixty_units();
  for (std::size_t i = 4; i < 8; ++i) lives[i].has_failed = false;
  const auto fit = fit_weibull(lives);
  ASSERT_FALSE(fit.has_value());
  EXPECT_NE(fit.error().hint.find("survival curve"), std::string::npos);
}

TEST(WeibullFit, EightFailuresAreAGuessAndSaySo) { EXPECT_TRUE(fit_weibull(sixty_units()).value().is_guess); }

TEST(WeibullFit, EarlyFailuresHaveAShapeBelowOne) { EXPECT_NEAR(fit_weibull(sixty_units()).value().shape, 0.51, 0.005); }

TEST(WeibullFit, RefusesAllAtTheSameHours) { EXPECT_FALSE(fit_weibull(std::vector<Life>(6, Life{10.0, true})).has_value()); }

TEST(WeibullFit, HoursInMinutesGiveTheSameShape) {
  auto lives = sixty_units();
  const double shape = fit_weibull(lives).value().shape;
  for (Life& life : lives) life.hours *= 60.0;
  EXPECT_NEAR(fit_weibull(lives).value().shape, shape, 1e-9);
}

// 400 histories of 40 units with shape 0.7, scale 60 h, stopped at 48 h: 95 % would be 380; three standard deviations of that are 13,
// and with about 23 failures the normal interval of the logarithm is a little short.
TEST(WeibullFit, IntervalHoldsTheTruthAsOftenAsItSays) {
  std::mt19937 random(7);
  std::weibull_distribution<double> life(0.7, 60.0);
  int inside = 0;
  for (int history = 0; history < 400; ++history) {
    std::vector<Life> lives;
    for (int i = 0; i < 40; ++i) {
      const double hours = life(random);
      lives.push_back({std::min(hours, 48.0), hours < 48.0});
    }
    const auto fit = fit_weibull(lives).value();
    inside += fit.shape_interval.low < 0.7 && 0.7 < fit.shape_interval.high ? 1 : 0;
  }
  EXPECT_GE(inside, 362);
  EXPECT_LE(inside, 393);
}

// --- bounds

// 40 units of 48 h without a failure: 834 h at 90 %, 641 h at 95 % (own arithmetic, T / -ln(1 - C)).
TEST(MtbfBounds, FortyCleanSoaks) {
  const Exposure clean{.units = 40, .hours = 1920.0, .failures = 0};
  EXPECT_NEAR(mtbf_at_least(clean, 0.90).value(), 833.8, 0.1);
  EXPECT_NEAR(mtbf_at_least(clean, 0.95).value(), 640.9, 0.1);
}

TEST(MtbfBounds, WithoutAFailureThereIsNoUpperEndAndNoLikelyValue) {
  const auto mtbf = mtbf_interval({.units = 40, .hours = 1920.0, .failures = 0}, 0.9).value();
  EXPECT_FALSE(mtbf.high_hours.has_value());
  EXPECT_FALSE(mtbf.likely_hours.has_value());
  EXPECT_NEAR(mtbf.low_hours, 833.8, 0.1);
}

TEST(MtbfBounds, OneUnitHasNone) {
  const auto mtbf = mtbf_interval({.units = 1, .hours = 48.0, .failures = 0});
  ASSERT_FALSE(mtbf.has_value());
  EXPECT_EQ(mtbf.error().message, "an MTBF is not a figure of one unit");
  EXPECT_FALSE(mtbf_at_least({.units = 1, .hours = 4800.0, .failures = 3}).has_value());
}

// 20 clean soaks allow up to 13.9 % bad ones at 95 %: 1 - 0.05^(1/20); the rule of three says 15 %.
TEST(BadShare, TwentyCleanSoaks) {
  EXPECT_NEAR(bad_share_at_most(0, 20).value(), 1.0 - std::pow(0.05, 1.0 / 20.0), 1e-12);
  EXPECT_NEAR(bad_share_at_most(0, 20).value(), 0.139, 5e-4);
  EXPECT_NEAR(rule_of_three(20), 0.15, 1e-12);
}

TEST(BadShare, RuleOfThreeIsNeverMoreThanAll) { EXPECT_EQ(rule_of_three(2), 1.0); }

TEST(BadShare, AllBadReachesOne) { EXPECT_EQ(bad_share(5, 5).value().high, 1.0); }

TEST(BadShare, RefusesMoreBadThanUnits) { EXPECT_FALSE(bad_share(6, 5).has_value()); }

// 22 units for 90/90, 59 for 95/95 (success run; common practice).
TEST(BadShare, UnitsToShow) {
  EXPECT_EQ(units_to_show(0.90, 0.90).value(), 22u);
  EXPECT_EQ(units_to_show(0.95, 0.95).value(), 59u);
}

TEST(BadShare, AnExactPowerDoesNotRoundUp) { EXPECT_EQ(units_to_show(0.5, 0.875).value(), 3u); }

// --- yield

// Of a hundred units that start, 2.1 more are found from 24 to 36 h, 1.7 from 36 to 48 h (own arithmetic on the invented shop).
TEST(SoakYield, TheNextTwelveHours) {
  const auto lives = sixty_units();
  const auto first = yield_of_next_hours(lives, 24.0).value();
  const auto second = yield_of_next_hours(lives, 36.0).value();
  EXPECT_NEAR(100.0 * first.of_started, 2.1, 0.05);
  EXPECT_NEAR(100.0 * second.of_started, 1.7, 0.05);
  EXPECT_TRUE(first.is_by_curve);
  EXPECT_TRUE(first.is_guess);
  EXPECT_FALSE(second.is_extrapolated);
}

TEST(SoakYield, OfThoseRunningIsMoreThanOfThoseStarted) {
  const auto yield = yield_of_next_hours(sixty_units(), 24.0).value();
  EXPECT_GT(yield.of_running, yield.of_started);
}

TEST(SoakYield, BeyondTheLongestLifeItIsExtrapolated) { EXPECT_TRUE(yield_of_next_hours(sixty_units(), 48.0).value().is_extrapolated); }

TEST(SoakYield, IntervalHoldsTheEstimate) {
  const auto yield = yield_of_next_hours(sixty_units(), 24.0).value();
  EXPECT_LT(yield.of_running_interval.low, yield.of_running);
  EXPECT_GT(yield.of_running_interval.high, yield.of_running);
}

TEST(SoakYield, FromTheStartTheIntervalIsThatOfTheShareFailed) {
  const auto lives = sixty_units();
  const auto yield = soak_yield(lives, 0.0, 24.0).value();
  EXPECT_NEAR(yield.of_started, failed_by(fit_weibull(lives).value(), 24.0), 1e-12);
  EXPECT_NEAR(yield.of_running, yield.of_started, 1e-12);
}

TEST(SoakYield, WithFewFailuresItIsCounted) {
  std::vector<Life> lives = all_well(19, 48.0);
  lives.push_back({30.0, true});
  const auto yield = yield_of_next_hours(lives, 24.0).value();
  EXPECT_FALSE(yield.is_by_curve);
  EXPECT_NEAR(yield.of_running, 0.05, 1e-12);
  EXPECT_NEAR(yield.of_started, 0.05, 1e-12);
}

TEST(SoakYield, WithoutAFailureTheBoundIsExact) {
  const auto yield = yield_of_next_hours(all_well(20, 48.0), 24.0).value();
  EXPECT_EQ(yield.of_running, 0.0);
  EXPECT_NEAR(yield.of_running_interval.high, 1.0 - std::pow(0.05, 1.0 / 20.0), 1e-12);
}

TEST(SoakYield, WhatWasNeverRunIsNotCounted) { EXPECT_FALSE(yield_of_next_hours(all_well(20, 48.0), 48.0).has_value()); }

TEST(SoakYield, RefusesAStretchThatEndsBeforeItStarts) { EXPECT_FALSE(soak_yield(sixty_units(), 24.0, 12.0).has_value()); }

}  // namespace
}  // namespace steadyglow::reliability
