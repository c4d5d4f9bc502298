/// What single readings say: of joints, meters, leads, music, decks, and of mains that nobody measures.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "analysis/bursts.hpp"
#include "analysis/mains_proxy.hpp"
#include "analysis/plausible.hpp"
#include "analysis/quiet.hpp"
#include "analysis/roughness.hpp"
#include "analysis/stuck.hpp"
#include "analysis/transport.hpp"

namespace steadyglow::analysis {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

Timestamp at_s(double s) { return at_ms(static_cast<std::int64_t>(s * 1000.0)); }

/// A reading every five seconds for three hours; `wild` says when it breaks away.
template <class Wild>
std::optional<Bursts::Told> play(Wild wild) {
  Bursts bursts;
  std::optional<Bursts::Told> told;
  for (double s = 0.0; s < 3.0 * 3600.0; s += 5.0) {
    const auto now = bursts.step(at_s(s), wild(s) ? 150.0 : 380.0, 380.0, 1.0, 76.0);
    if (now && !told) told = now;
  }
  return told;
}

TEST(Bursts, OneSpikeSaysNothing) {
  EXPECT_FALSE(play([](double s) { return s == 3600.0; }).has_value());
}

TEST(Bursts, AHandThatTouchesALeadOnceSaysNothing) {
  EXPECT_FALSE(play([](double s) { return s >= 3600.0 && s < 3640.0 && std::fmod(s, 10.0) < 5.0; }).has_value());
}

TEST(Bursts, AJointThatLetsGoEveryTwentyMinutesSpeaks) {
  const auto told = play([](double s) { return std::fmod(s, 1200.0) > 1180.0; });
  ASSERT_TRUE(told.has_value());
  EXPECT_GE(told->groups, 3);
}

TEST(Bursts, AStepThatStaysIsNoJoint) {
  Bursts bursts;
  bool has_spoken = false;
  for (double s = 0.0; s < 3.0 * 3600.0; s += 5.0) {
    const bool is_after = s > 3600.0;
    // The minute before follows the step within a minute.
    const double level = s > 3660.0 ? 150.0 : 380.0;
    has_spoken = has_spoken || bursts.step(at_s(s), is_after ? 150.0 : 380.0, level, 1.0, 76.0).has_value();
  }
  EXPECT_FALSE(has_spoken);
}

TEST(Stuck, IsToldAgainstItsOwnLongestCalm) {
  std::mt19937 random(3);
  std::uniform_int_distribution<int> digit(0, 3);
  Stuck stuck;
  double s = 0.0;
  for (; s < 3.0 * 3600.0; s += 5.0) EXPECT_FALSE(stuck.step(at_s(s), 38.0 + 0.1 * digit(random)));
  const double from = s;
  std::optional<double> said;
  for (; s < from + 3600.0; s += 5.0)
    if (stuck.step(at_s(s), 38.1) && !said) said = s - from;
  ASSERT_TRUE(said.has_value());
  EXPECT_NEAR(*said / 60.0, 20.0, 1.0);
}

TEST(Stuck, AReadingThatNeverMovedIsCoarseAndNotStuck) {
  Stuck stuck;
  bool is_stuck = false;
  for (double s = 0.0; s < 12.0 * 3600.0; s += 5.0) is_stuck = is_stuck || stuck.step(at_s(s), 0.3);
  EXPECT_FALSE(is_stuck);
}

TEST(Stuck, ACoarseMeterBetweenTwoDigitsMayStandForHours) {
  Stuck stuck;
  bool is_stuck = false;
  for (double s = 0.0; s < 12.0 * 3600.0; s += 5.0) {
    const bool is_between = s < 4.0 * 3600.0 && std::fmod(s, 20.0) < 10.0;
    is_stuck = is_stuck || stuck.step(at_s(s), is_between ? 0.08 : 0.07);
  }
  EXPECT_FALSE(is_stuck);
}

TEST(Roughness, IsAgainstItsOwnHours) {
  std::mt19937 random(4);
  std::normal_distribution<double> normal;
  Roughness roughness;
  bool is_rough = false;
  for (int i = 0; i < 1000; ++i) is_rough = is_rough || roughness.step(380.0 + normal(random), 0.1);
  EXPECT_FALSE(is_rough);
  for (int i = 0; i < 100; ++i) is_rough = is_rough || roughness.step(380.0 + 8.0 * normal(random), 0.1);
  EXPECT_TRUE(is_rough);
}

TEST(Plausible, KnowsWhatMetersSendWhenTheyHaveNothingToSay) {
  profile::Point sink;
  sink.quantity = Quantity::temperature;
  sink.role = profile::Role::heatsink;
  Plausible heat(sink);
  EXPECT_TRUE(heat.step(at_s(0), 38.0));
  EXPECT_FALSE(heat.step(at_s(5), 85.0));    // a 1-Wire sensor's power-on value (Linux w1_therm documentation)
  EXPECT_FALSE(heat.step(at_s(10), 850.0));  // upscale burn-out of a thermocouple input
  EXPECT_FALSE(heat.step(at_s(15), -200.0));
  EXPECT_TRUE(heat.step(at_s(20), 38.1));
  profile::Point bias;
  Plausible volts(bias);
  EXPECT_FALSE(volts.step(at_s(0), 9.9e37));  // SCPI: infinity (IEEE 488.2 numeric elements, seen in instrument manuals)
  EXPECT_FALSE(volts.step(at_s(5), 32767.0));
  EXPECT_TRUE(volts.step(at_s(10), 31000.0));  // an open cathode resistor is no meter's fault
}

/// Music: loud and soft, with a pause of ten seconds every `pause_every` minutes; 36 W when it pauses.
double music(std::mt19937& random, double s, double pause_every_minutes) {
  std::uniform_real_distribution<double> loud(1.3, 3.0);
  const bool pauses = pause_every_minutes > 0.0 && std::fmod(s, 60.0 * pause_every_minutes) < 15.0;
  return pauses ? 36.0 : 36.0 * loud(random);
}

TEST(Quiet, IsTheFloorThatTheMusicComesBackTo) {
  std::mt19937 random(8);
  Quiet quiet;
  int right = 0;
  int wrong = 0;
  for (double s = 0.0; s < 4.0 * 3600.0; s += 5.0) {
    const double watts = music(random, s, 6.0);
    quiet.step(at_s(s), watts);
    if (!quiet.is_quiet()) continue;
    (watts < 37.0 ? right : wrong) += 1;
  }
  EXPECT_GT(right, 30);
  EXPECT_EQ(wrong, 0);
  EXPECT_NEAR(quiet.floor().value(), 36.0, 0.5);
}

TEST(Quiet, AFloorThatFallsIsSaidOnce) {
  Quiet quiet;
  for (double s = 0.0; s < 3600.0; s += 5.0) quiet.step(at_s(s), 60.0);
  EXPECT_FALSE(quiet.take_fall());
  for (double s = 3600.0; s < 5400.0; s += 5.0) quiet.step(at_s(s), std::fmod(s, 300.0) < 60.0 ? 36.0 : 60.0);
  EXPECT_TRUE(quiet.take_fall());
  EXPECT_FALSE(quiet.take_fall());
}

TEST(Transport, AStopIsUsualForHalfAnHourOrTwiceTheLongest) {
  Transport transport;
  transport.step(at_s(0), true);
  EXPECT_TRUE(transport.is_steady(at_s(0) + minutes{2}));
  transport.step(at_s(2700), false);
  EXPECT_FALSE(transport.is_steady(at_s(2800)));
  EXPECT_TRUE(transport.is_usual_stop(at_s(2700) + minutes{29}));
  EXPECT_FALSE(transport.is_usual_stop(at_s(2700) + minutes{31}));
  transport.step(at_s(2700 + 2400), true);  // it stood for 40 min
  EXPECT_FALSE(transport.is_steady(at_s(2700 + 2400 + 30)));
  transport.step(at_s(9000), false);
  EXPECT_TRUE(transport.is_usual_stop(at_s(9000) + minutes{79}));
}

std::optional<double> vote(std::array<double, 3> change) {
  MainsProxy proxy;
  proxy.begin(0);
  const auto votes = [](std::array<double, 3> now) {
    return std::array<MainsProxy::Vote, 3>{MainsProxy::Vote{1.0 + now[0], 1.0}, MainsProxy::Vote{2.0 + 0.7 * now[1], 0.7}, MainsProxy::Vote{3.0 + 1.5 * now[2], 1.5}};
  };
  EXPECT_FALSE(proxy.step(10, votes({})).has_value());
  proxy.step(30, votes({}));
  return proxy.step(31, votes(change));
}

TEST(MainsProxy, WhatAllShowIsTheMains) { EXPECT_NEAR(vote({0.03, 0.03, 0.03}).value(), 0.03, 1e-9); }

TEST(MainsProxy, OneInTroubleIsOutvoted) { EXPECT_NEAR(vote({0.001, 0.0, 0.2}).value(), 0.001, 1e-9); }

TEST(MainsProxy, OfTwoTheSmallerCountsAndOfOneNothing) {
  MainsProxy proxy;
  proxy.begin(0);
  std::array<MainsProxy::Vote, 2> votes{MainsProxy::Vote{1.0, 1.0}, MainsProxy::Vote{2.0, 1.0}};
  proxy.step(30, votes);
  votes[0].ln_value = 1.04;
  votes[1].ln_value = 2.01;
  EXPECT_NEAR(proxy.step(31, votes).value(), 0.01, 1e-9);
  EXPECT_FALSE(proxy.step(32, std::span<const MainsProxy::Vote>(votes.data(), 1)).has_value());
}

}  // namespace
}  // namespace steadyglow::analysis
