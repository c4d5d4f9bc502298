#include "app/wiggle.hpp"

#include <gtest/gtest.h>

#include <functional>
#include <random>

namespace steadyglow::app {
namespace {

constexpr double now_s = 100.0;

/// A reading each `every_s` for 45 s up to now.
WiggleTrace trace(const std::function<WiggleSample(double at_s)>& read, double every_s = 1.0, double least = 0.0) {
  WiggleTrace trace;
  trace.least = least;
  for (double at = now_s - 45.0; at <= now_s; at += every_s) trace.samples.push_back(read(at));
  return trace;
}

auto steady(double value, double sigma, unsigned seed) {
  return [value, sigma, dice = std::mt19937(seed)](double at) mutable { return WiggleSample{at, value + std::normal_distribution<double>(0.0, sigma)(dice)}; };
}

/// Touched for the last two seconds: it jumps by so much.
auto touched(double value, double sigma, double by, unsigned seed) {
  return [value, sigma, by, dice = std::mt19937(seed)](double at) mutable {
    return WiggleSample{at, value + (at > now_s - 2.0 ? by : 0.0) + std::normal_distribution<double>(0.0, sigma)(dice)};
  };
}

TEST(Wiggle, TellsTheOneTraceThatMovedAlone) {
  const std::vector traces{trace(steady(380.0, 0.4, 1)), trace(touched(378.0, 0.4, -120.0, 2)), trace(steady(24.0, 0.05, 3))};
  const auto answer = who_moved(traces, now_s);
  ASSERT_EQ(answer.mover, 1U);
  EXPECT_NEAR(answer.points[1].moved_by, -120.0, 3.0);
}

TEST(Wiggle, TellsNobodyWhenSeveralMove) {
  const std::vector traces{trace(touched(380.0, 0.4, -90.0, 1)), trace(touched(378.0, 0.4, -120.0, 2)), trace(steady(24.0, 0.05, 3))};
  const auto answer = who_moved(traces, now_s);
  EXPECT_FALSE(answer.mover);
  EXPECT_EQ(answer.movers, 2U);
}

TEST(Wiggle, CriesForNoneOfAThousandQuietTraces) {
  std::vector<WiggleTrace> traces;
  for (unsigned seed = 0; seed < 1000; ++seed) traces.push_back(trace(steady(380.0, 1.0, seed)));
  EXPECT_EQ(who_moved(traces, now_s).movers, 0U);
}

TEST(Wiggle, TakesASlowWarmUpForNoTouch) {
  const std::vector traces{trace([](double at) { return WiggleSample{at, 20.0 + 0.05 * at}; })};
  EXPECT_EQ(who_moved(traces, now_s).movers, 0U);
}

TEST(Wiggle, TakesAFlippingLastDigitForNoTouch) {
  const std::vector traces{trace([](double at) { return WiggleSample{at, at > now_s - 2.0 ? 0.001 : 0.0}; }, 1.0, 0.0005)};
  EXPECT_EQ(who_moved(traces, now_s).movers, 0U);
}

TEST(Wiggle, SeesAJumpOfATraceThatNeverMovedBefore) {
  const std::vector traces{trace([](double at) { return WiggleSample{at, at > now_s - 2.0 ? 5.0 : 0.0}; }, 1.0, 0.0001)};
  EXPECT_EQ(who_moved(traces, now_s).mover, 0U);
}

TEST(Wiggle, SaysThatAClipCameOff) {
  const std::vector traces{trace(steady(1.0, 0.01, 1)), trace([](double at) { return WiggleSample{at, 24.0, at < now_s - 2.0}; })};
  const auto answer = who_moved(traces, now_s);
  ASSERT_EQ(answer.mover, 1U);
  EXPECT_EQ(answer.points[1].state, WiggleState::went);
}

TEST(Wiggle, SaysThatAReadingCame) {
  const std::vector traces{trace([](double at) { return WiggleSample{at, 24.0, at > now_s - 2.0}; })};
  EXPECT_EQ(who_moved(traces, now_s).points[0].state, WiggleState::came);
}

TEST(Wiggle, NeverReadsTheValueOfABadReading) {
  const std::vector traces{trace([](double at) { return WiggleSample{at, at < now_s - 20.0 ? 9e9 : 24.0, at >= now_s - 20.0}; })};
  EXPECT_EQ(who_moved(traces, now_s).points[0].state, WiggleState::quiet);
}

TEST(Wiggle, KnowsNothingYetOfATraceWithFourReadings) {
  WiggleTrace few;
  for (double at : {97.0, 98.0, 99.0, 100.0}) few.samples.push_back({at, at});
  EXPECT_EQ(who_moved(std::vector{few}, now_s).points[0].state, WiggleState::unread);
}

WiggleAnswer movers(std::vector<std::size_t> which) {
  WiggleAnswer answer;
  answer.movers = which.size();
  if (which.size() == 1) answer.mover = which.front();
  return answer;
}

TEST(LastAlone, HoldsWhoMovedUntilSomebodyWalkedBack) {
  LastAlone last;
  last.take(movers({2}), 10.0);
  last.take(movers({2}), 12.0);
  last.take(movers({}), 15.0);
  ASSERT_TRUE(last.mover(20.0));
  EXPECT_EQ(last.mover(20.0)->point, 2U);
  EXPECT_EQ(last.mover(20.0)->first_s, 10.0);
  EXPECT_FALSE(last.mover(12.0 + wiggle_hold_seconds + 0.1));
}

TEST(LastAlone, TakesNobodyOutOfACrowd) {
  LastAlone last;
  last.take(movers({0}), 10.0);
  last.take(movers({0, 1}), 11.0);  // the slower meter shows what the quick one did
  EXPECT_FALSE(last.mover(11.0));
  last.take(movers({1}), 13.0);
  EXPECT_FALSE(last.mover(13.0));
  last.take(movers({}), 15.0);
  last.take(movers({1}), 16.0);
  EXPECT_TRUE(last.mover(16.0));
}

TEST(Wiggle, WaitsLongEnoughForASlowMeter) {
  WiggleTrace slow;
  for (double at = 0.0; at <= 95.0; at += 5.0) slow.samples.push_back({at, at > 90.0 ? 31.0 : 24.0});
  slow.least = 0.1;
  EXPECT_EQ(who_moved(std::vector{slow}, 98.0).mover, 0U);
}

}  // namespace
}  // namespace steadyglow::app
