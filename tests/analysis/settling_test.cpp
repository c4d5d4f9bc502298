#include "analysis/settling.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>
#include <vector>

#include "analysis/warm_up.hpp"

namespace steadyglow::analysis {
namespace {

struct Minutes {
  std::vector<std::int64_t> minutes;
  std::vector<double> values;
};

/// A curve over minutes [from, to), with noise of this standard deviation.
Minutes curve(int from, int to, const std::function<double(double)>& y, double noise = 0.0, unsigned seed = 1) {
  std::mt19937 random(seed);
  std::normal_distribution<double> error(0.0, 1.0);
  Minutes found;
  for (int i = from; i < to; ++i) {
    found.minutes.push_back(i);
    found.values.push_back(y(i) + noise * error(random));
  }
  return found;
}

std::function<double(double)> rise(double end, double height, double tau) {
  return [=](double t) { return end - height * std::exp(-t / tau); };
}

Settling judge(const Minutes& m, const SettlingTolerance& tolerance) { return judge_settling(m.minutes, m.values, tolerance); }
std::optional<WarmUp> fit(const Minutes& m) { return fit_warm_up(m.minutes, m.values); }

TEST(WarmUp, OneModeIsFoundExactlyInCleanData) {
  const auto warm_up = fit(curve(0, 30, rise(100.0, 50.0, 20.0))).value();
  EXPECT_NEAR(warm_up.likely.end, 100.0, 1e-4);
  EXPECT_NEAR(warm_up.likely.modes[0].tau_minutes, 20.0, 1e-4);
  EXPECT_FALSE(warm_up.has_two_modes);
}

// A tube's minutes over its transformer's hours.
TEST(WarmUp, TwoModesAreToldApartWhereTheyAreEvident) {
  const auto y = [](double t) { return 60.0 - 12.0 * std::exp(-t / 6.0) - 20.0 * std::exp(-t / 70.0); };
  const auto warm_up = fit(curve(0, 180, y, 0.02)).value();
  ASSERT_TRUE(warm_up.has_two_modes);
  EXPECT_NEAR(warm_up.likely.modes[0].tau_minutes, 70.0, 2.0);
  EXPECT_NEAR(warm_up.likely.modes[1].tau_minutes, 6.0, 0.3);
  EXPECT_NEAR(warm_up.likely.end, 60.0, 0.15);
}

TEST(WarmUp, ASecondModeIsNotReadIntoNoise) {
  int two = 0;
  for (unsigned seed = 0; seed < 200; ++seed) {
    const auto warm_up = fit(curve(0, 60, rise(60.0, 20.0, 15.0), 0.2, seed));
    two += warm_up && warm_up->has_two_modes ? 1 : 0;
  }
  EXPECT_LE(two, 2);
}

// 95 % would be 190 of 200; two standard deviations of that count are 6.
TEST(WarmUp, TheAsymptoteLiesWithinItsUncertaintyAsOftenAsItSays) {
  int inside = 0;
  int fitted = 0;
  for (unsigned seed = 0; seed < 200; ++seed) {
    const auto warm_up = fit(curve(0, 60, rise(60.0, 20.0, 20.0), 0.2, seed));
    if (!warm_up) continue;
    ++fitted;
    inside += std::fabs(warm_up->likely.end - 60.0) < 2.0 * warm_up->end_sd ? 1 : 0;
  }
  EXPECT_EQ(fitted, 200);
  EXPECT_GE(inside, 180);
  EXPECT_LE(inside, 199);
}

TEST(WarmUp, TheRangeHoldsTheTrueSlowness) {
  int inside = 0;
  for (unsigned seed = 0; seed < 200; ++seed) {
    const auto warm_up = fit(curve(0, 60, rise(60.0, 20.0, 20.0), 0.2, seed)).value();
    inside += warm_up.fastest.modes[0].tau_minutes <= 20.0 && (!warm_up.slowest || warm_up.slowest->modes[0].tau_minutes >= 20.0) ? 1 : 0;
  }
  EXPECT_GE(inside, 180);
}

TEST(WarmUp, AWildMinuteDoesNotMoveTheEnd) {
  auto m = curve(0, 60, rise(60.0, 20.0, 15.0), 0.02);
  const double before = fit(m).value().likely.end;
  m.values[31] += 15.0;
  EXPECT_NEAR(fit(m).value().likely.end, before, 0.02);
}

TEST(WarmUp, MissingMinutesAreAllowed) {
  auto m = curve(0, 60, rise(60.0, 20.0, 15.0));
  m.minutes.erase(m.minutes.begin() + 10, m.minutes.begin() + 25);
  m.values.erase(m.values.begin() + 10, m.values.begin() + 25);
  EXPECT_NEAR(fit(m).value().likely.end, 60.0, 1e-3);
}

TEST(WarmUp, OnlyTheLastFourHoursAreFitted) {
  const auto long_ago = curve(0, 400, [](double t) { return t < 100 ? 500.0 : 60.0 - 20.0 * std::exp(-(t - 100) / 90.0); });
  EXPECT_NEAR(fit(long_ago).value().likely.end, 60.0, 1e-3);
}

TEST(WarmUp, AStraightLineHasNoEnd) {
  EXPECT_FALSE(fit(curve(0, 30, [](double t) { return 20.0 + 0.5 * t; }, 0.05)).has_value());
}

TEST(WarmUp, AConstantHasNoEndToFind) {
  EXPECT_FALSE(fit(curve(0, 30, [](double) { return 20.0; })).has_value());
}

TEST(WarmUp, NoiseAloneSeldomHasAnEnd) {
  int found = 0;
  for (unsigned seed = 0; seed < 200; ++seed) found += fit(curve(0, 30, [](double) { return 20.0; }, 0.1, seed)).has_value() ? 1 : 0;
  EXPECT_LE(found, 20);
}

TEST(Settling, RefusesAForecastWhileTheCurveBendsAway) {
  const auto settling = judge(curve(0, 30, [](double t) { return 0.05 * t * t; }), {0.5, 1.0});
  EXPECT_EQ(settling.state, SettlingState::convex);
  EXPECT_FALSE(settling.minutes_to_go.has_value());
  EXPECT_FALSE(settling.asymptote.has_value());
}

TEST(Settling, RefusesAForecastWhenADipHasTurnedIntoARunaway) {
  const auto settling = judge(curve(0, 60, [](double t) { return 40.0 + 10.0 * std::exp(-t / 8.0) + std::exp(t / 20.0); }, 0.01), {0.4, 0.8});
  EXPECT_EQ(settling.state, SettlingState::convex);
}

TEST(Settling, ForecastIsWhenItWillBeSaid) {
  const auto y = rise(100.0, 50.0, 20.0);
  const SettlingTolerance tolerance{1.0, 2.0};
  const auto settling = judge(curve(0, 30, y), tolerance);
  ASSERT_EQ(settling.state, SettlingState::settling);
  const int forecast = static_cast<int>(std::lround(settling.minutes_to_go.value()));
  EXPECT_EQ(judge(curve(0, 30 + forecast + 1, y), tolerance).state, SettlingState::settled);
  EXPECT_NE(judge(curve(0, 30 + forecast - 2, y), tolerance).state, SettlingState::settled);
}

TEST(Settling, NoiseWidensTheRange) {
  const SettlingTolerance tolerance{1.0, 2.0};
  const auto clean = judge(curve(0, 30, rise(100.0, 50.0, 20.0), 0.01), tolerance);
  const auto noisy = judge(curve(0, 30, rise(100.0, 50.0, 20.0), 0.3), tolerance);
  EXPECT_LT(noisy.minutes_to_go_least.value(), noisy.minutes_to_go.value());
  ASSERT_TRUE(noisy.minutes_to_go_most.has_value());
  EXPECT_GT(*noisy.minutes_to_go_most - *noisy.minutes_to_go_least, 3.0 * (clean.minutes_to_go_most.value() - clean.minutes_to_go_least.value()));
}

TEST(Settling, AHeavyTransformerSeenForHalfAnHourHasNoLatestTime) {
  const auto settling = judge(curve(0, 30, rise(70.0, 45.0, 110.0), 0.3), {1.0, 2.0});
  EXPECT_NE(settling.state, SettlingState::settled);
  EXPECT_FALSE(settling.minutes_to_go_most.has_value());
}

TEST(Settling, FlatAndNearItsEndIsSettled) {
  EXPECT_EQ(judge(curve(80, 110, rise(100.0, 50.0, 20.0), 0.02), {1.0, 2.0}).state, SettlingState::settled);
}

TEST(Settling, FlatButFarFromItsEndIsNot) {
  // 0.9 in half an hour, and 2.4 still to come.
  const auto settling = judge(curve(0, 130, rise(100.0, 10.0, 90.0)), {1.0, 0.5});
  EXPECT_LT(std::fabs(settling.change_per_half_hour), 1.0);
  EXPECT_EQ(settling.state, SettlingState::settling);
}

TEST(Settling, HalfFilledBlocksSayNothing) {
  EXPECT_EQ(judge(curve(0, 22, rise(100.0, 50.0, 20.0)), {1.0, 2.0}).state, SettlingState::unknown);
}

TEST(Settling, TextForAPerson) {
  Settling settling;
  settling.state = SettlingState::settled;
  EXPECT_EQ(settling_text(settling), "settled");
  settling.state = SettlingState::convex;
  EXPECT_EQ(settling_text(settling), "still moving, no forecast yet");
  settling.state = SettlingState::settling;
  settling.minutes_to_go = 25.2;
  settling.minutes_to_go_least = 19.8;
  EXPECT_EQ(settling_text(settling), "settled in about 25 min (20 or more)");
  settling.minutes_to_go_most = 40.4;
  EXPECT_EQ(settling_text(settling), "settled in about 25 min (20 to 40)");
}

}  // namespace
}  // namespace steadyglow::analysis
