/// The slow test, the quick test and what they learn: on series whose truth is known because it was put there.
#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

#include "analysis/course.hpp"
#include "analysis/stream.hpp"

namespace steadyglow::analysis {
namespace {

constexpr double blocks_per_hour = 60.0 / static_cast<double>(block_minutes);

/// AR(1) with the wander's own time constant, and block noise.
std::vector<double> wander(unsigned seed, std::size_t count, CourseNoise noise) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  const double keep = std::exp(-1.0 / blocks_per_hour / wander_hours);
  double state = noise.wander_sd * normal(random);
  std::vector<double> y;
  for (std::size_t i = 0; i < count; ++i) {
    state = keep * state + std::sqrt(1.0 - keep * keep) * noise.wander_sd * normal(random);
    y.push_back(state + noise.white_sd * normal(random));
  }
  return y;
}

constexpr CourseNoise usual{0.002, 0.005};

CourseFit judge(const std::vector<double>& y, std::int64_t gap_from = 0, std::int64_t gap_until = 0) {
  Course course;
  const std::array<Prior, 2> priors{Prior{0.0, 100.0}, Prior{1.0, 0.5}};
  course.begin(priors, usual);
  for (std::size_t i = 0; i < y.size(); ++i) {
    const auto block = static_cast<std::int64_t>(i);
    if (block >= gap_from && block < gap_until) continue;
    const double mains = 0.02 * std::sin(static_cast<double>(i) / 9.0);
    course.add(block, 5.9 + 1.3 * mains + y[i], std::array<double, 2>{1.0, mains});
  }
  return course.judge().value();
}

TEST(Course, FindsTheExponentOfTheMains) {
  const CourseFit fit = judge(wander(1, 140, usual));
  EXPECT_NEAR(fit.coefficients[1], 1.3, 4.0 * fit.sds[1]);
  EXPECT_LT(fit.sds[1], 0.2);
}

TEST(Course, AHealthyNightStaysBelowSixAlmostAlways) {
  int beyond = 0;
  for (unsigned seed = 1; seed <= 300; ++seed) beyond += std::fabs(judge(wander(seed, 200, usual)).departure->z()) > 6.0 ? 1 : 0;
  EXPECT_EQ(beyond, 0);
}

TEST(Course, ARampIsFoundWithItsSizeAndItsBeginning) {
  std::vector<double> y = wander(7, 150, usual);
  for (std::size_t i = 100; i < y.size(); ++i) y[i] += 0.012 * static_cast<double>(i - 100) / blocks_per_hour;
  const Departure departure = judge(y).departure.value();
  EXPECT_GT(departure.z(), 6.0);
  EXPECT_NEAR(departure.moved, 0.098, 0.02);
  EXPECT_NEAR(static_cast<double>(departure.onset), 100.0, 16.0);
}

TEST(Course, ANewLevelIsFoundAsWellAsARamp) {
  std::vector<double> y = wander(9, 150, usual);
  for (std::size_t i = 110; i < y.size(); ++i) y[i] += 0.05;
  EXPECT_NEAR(judge(y).departure->moved, 0.05, 0.012);
  EXPECT_GT(judge(y).departure->z(), 6.0);
}

TEST(Course, AGapChangesLittle) {
  std::vector<double> y = wander(11, 150, usual);
  for (std::size_t i = 100; i < y.size(); ++i) y[i] += 0.012 * static_cast<double>(i - 100) / blocks_per_hour;
  EXPECT_NEAR(judge(y, 40, 60).departure->moved, judge(y).departure->moved, 0.01);
}

TEST(Course, TheNoiseIsThatOfTheNightAndNotOfTheFault) {
  std::vector<double> y = wander(13, 200, usual);
  const CourseNoise healthy = judge(y).seen;
  for (std::size_t i = 120; i < y.size(); ++i) y[i] += 0.03 * static_cast<double>(i - 120) / blocks_per_hour;
  EXPECT_LT(judge(y).seen.wander_sd, 2.0 * std::max(healthy.wander_sd, usual.wander_sd));
}

/// Feeds a stream minute by minute as the engine does.
class Watched {
 public:
  explicit Watched(const Traits& traits) : stream_(traits, false) {}
  void minute(double y, double ln_mains, double room, double watts, bool is_there = true) {
    climate_.step(minute_, {ln_mains, false, room, false, watts});
    if (is_there) stream_.add(minute_, y, 6);
    stream_.judge(minute_, climate_, course_, minute_ > 90, stream_.traits().mains, 0.0);
    ++minute_;
  }
  const Stream& stream() const { return stream_; }
  std::int64_t now() const { return minute_; }

 private:
  Stream stream_;
  Climate climate_;
  Course course_;
  std::int64_t minute_ = 0;
};

profile::Point bias_point() {
  profile::Point point;
  point.name = "v1";
  point.role = profile::Role::bias;
  return point;
}

/// The minute in which it was said, for a figure that changes by `per_hour` from minute 400 on; nothing within 20 h.
std::optional<std::int64_t> said_after(double per_hour, double noise, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  Watched watched(traits_of(bias_point(), profile::Drive::idle, false));
  for (std::int64_t m = 0; m < 1200; ++m) {
    const double t = static_cast<double>(m);
    const double mains = 0.015 * std::sin(t / 170.0) + (m > 700 ? 0.02 : 0.0);
    const double settled = -0.6 * std::exp(-t / 6.0) - 0.04 * std::exp(-t / 70.0);
    const double fault = m > 400 ? per_hour * (t - 400.0) / 60.0 : 0.0;
    watched.minute(6.0 + 1.4 * mains + settled + fault + noise * normal(random), mains, 22.0 - 3.0 * t / 1200.0, 120.0);
    if (watched.stream().state().is_departed) return m;
  }
  return std::nullopt;
}

TEST(Stream, MainsSettlingAndACoolingRoomAreNoDeparture) {
  for (unsigned seed = 1; seed <= 20; ++seed) EXPECT_FALSE(said_after(0.0, 0.002, seed).has_value()) << seed;
}

TEST(Stream, ATwoPercentDriftAnHourIsSaidBeforeItHasMadeTenPercent) {
  for (unsigned seed = 1; seed <= 10; ++seed) {
    const auto said = said_after(0.02, 0.002, seed);
    ASSERT_TRUE(said.has_value()) << seed;
    EXPECT_LT(*said, 400 + 300) << seed;
    EXPECT_GT(*said, 400) << seed;
  }
}

TEST(Stream, AFallIsSaidLikeARise) {
  const auto said = said_after(-0.02, 0.002, 3);
  ASSERT_TRUE(said.has_value());
  EXPECT_LT(*said, 400 + 300);
}

TEST(Stream, WhatComesBackIsNoDepartureAnyMore) {
  Watched watched(traits_of(bias_point(), profile::Drive::idle, false));
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  bool has_departed = false;
  for (std::int64_t m = 0; m < 700; ++m) {
    const double fault = m > 300 && m < 340 ? 0.12 : 0.0;
    watched.minute(6.0 + fault + 0.002 * normal(random), 0.0, 22.0, 120.0);
    has_departed = has_departed || watched.stream().state().is_departed;
  }
  EXPECT_TRUE(has_departed);
  EXPECT_FALSE(watched.stream().state().is_departed);
}

TEST(Stream, ABlockedSinkIsSaidAndOneThatFollowsItsWattsIsNot) {
  profile::Point sink;
  sink.role = profile::Role::heatsink;
  sink.quantity = Quantity::temperature;
  for (const bool is_blocked : {false, true}) {
    std::mt19937 random(6);
    std::normal_distribution<double> normal;
    Watched watched(traits_of(sink, profile::Drive::idle, false));
    double temperature = 22.0;
    for (std::int64_t m = 0; m < 900; ++m) {
      const double t = static_cast<double>(m);
      const double room = 22.0 - 5.0 * (1.0 - std::exp(-t / 300.0));
      const double watts = 118.0 * (1.0 + 0.05 * std::sin(t / 120.0));
      const double resistance = is_blocked && m > 500 ? 0.32 : 0.26;
      temperature += (room + resistance * watts - temperature) / 25.0;
      watched.minute(temperature + 0.05 * normal(random), 0.0, room, watts);
    }
    EXPECT_EQ(watched.stream().state().is_departed, is_blocked);
  }
}

TEST(Habit, IsLearnedAnHourLate) {
  Habit habit(0.01);
  for (std::size_t i = 0; i < Habit::late_minutes; ++i) habit.learn(0.5);
  EXPECT_DOUBLE_EQ(habit.sd(), 0.01);
  habit.learn(0.5);
  EXPECT_GT(habit.sd(), 0.01);
}

TEST(Habit, AWildHourMovesItLittle) {
  Habit habit(0.01);
  std::mt19937 random(2);
  std::normal_distribution<double> normal(0.0, 0.01);
  for (int i = 0; i < 600; ++i) habit.learn(normal(random));
  const double before = habit.sd();
  for (int i = 0; i < 70; ++i) habit.learn(1.0);
  EXPECT_LT(habit.sd(), 2.0 * before);
}

}  // namespace
}  // namespace steadyglow::analysis
