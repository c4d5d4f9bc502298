/// A scenario with a mistake in it says so, with its place; and the words do what they say.
#include <gtest/gtest.h>

#include <cmath>

#include "scenarios/course.hpp"
#include "scenarios/scenario.hpp"

namespace steadyglow::scenarios {
namespace {

const std::string good = R"([scenario]
title = "a quiet night"
profile = "hollin_p4"
begins = "21:00"
hours = 12

[points]
mains_volts = "holds 230, noise 0.2"
mains_power = "holds 14, follows mains 2, noise 0.05"
room_c = "holds 22, noise 0.05"
regulator_c = "heats 24 over room at 14 of mains_power tau 20 min, noise 0.1"
rail_plus_v = "holds 15, noise 0.002"

rail_minus_v = "holds -15, noise 0.002"
output_left_mv = "holds 1, noise 0.05"
output_right_mv = "holds 2, noise 0.05"
mains_current = "holds 0.074, follows mains 1, noise 0.0005"

[fault]
rail_plus_v = "from 02:00 ramps -1 % per hour"

[[found]]
kinds = ["drift"]
points = ["rail_plus_v"]
from = "02:00"

[ending]
silent_until = "02:00"
)";

std::string with(const std::string& from, const std::string& to) {
  std::string text = good;
  text.replace(text.find(from), from.size(), to);
  return text;
}

std::string first_mistake(const std::string& text) {
  Errors errors;
  const auto scenario = read_scenario(text, "s.toml", STEADYGLOW_SOURCE_DIR, errors);
  EXPECT_EQ(scenario.has_value(), errors.empty());
  return errors.empty() ? "" : errors.front().text();
}

/// The true value of the rail at this run time, with these words for it.
double rail(const std::string& words, double seconds) {
  Errors errors;
  const auto scenario = read_scenario(with("\"holds 15, noise 0.002\"", "\"" + words + "\""), "s.toml", STEADYGLOW_SOURCE_DIR, errors);
  if (!scenario) throw std::runtime_error(errors.front().text());
  std::vector<Course> courses;
  read_courses(*scenario, true, courses, errors);
  const Bench bench;
  for (Course& course : courses) course.bind(&courses, &bench);
  return courses[scenario->profile.find("rail_plus_v").value().index].at(seconds);
}

constexpr double hour = 3600.0;

TEST(ScenarioFormat, AGoodOneIsRead) { EXPECT_EQ(first_mistake(good), ""); }

TEST(ScenarioFormat, NamesEachMistakeAtItsPlace) {
  EXPECT_NE(first_mistake(with("\"hollin_p4\"", "\"hollin\"")).find("s.toml:3:11: error: there is no profile `hollin`"), std::string::npos);
  EXPECT_NE(first_mistake(with("\n[fault]", "rom_c = \"holds 22\"\n[fault]")).find("s.toml:18:1: error: unknown key `rom_c` hint: did you mean `room_c`?"), std::string::npos);
  EXPECT_NE(first_mistake(with("\"holds 15, noise 0.002\"", "\"hold 15\"")).find("s.toml:12:15: error: in `hold 15`: `hold` is nothing that a point does hint: did you mean `holds`?"), std::string::npos);
  EXPECT_NE(first_mistake(with("\"holds 15, noise 0.002\"", "\"holds fifteen\"")).find("`fifteen` is no number"), std::string::npos);
  EXPECT_NE(first_mistake(with("\"holds 15, noise 0.002\"", "\"holds 15 V\"")).find("`V` is too much"), std::string::npos);
  EXPECT_NE(first_mistake(with("from 02:00 ramps", "from 2 o'clock ramps")).find("s.toml:20:15: error: in `from 2 o'clock ramps -1 % per hour`: `2` is no time"), std::string::npos);
  EXPECT_NE(first_mistake(with("tau 20 min", "tau 20 minutes")).find("no span of time"), std::string::npos);
  EXPECT_NE(first_mistake(with("[\"drift\"]", "[\"drifts\"]")).find("`drifts` is no kind of finding"), std::string::npos);
  EXPECT_NE(first_mistake(with("[\"rail_plus_v\"]", "[\"rail_plus\"]")).find("did you mean `rail_plus_v`?"), std::string::npos);
  EXPECT_NE(first_mistake(with("from = \"02:00\"", "from = \"10:00\"")).find("after the scenario's end"), std::string::npos);
  EXPECT_NE(first_mistake(with("[ending]\nsilent_until", "[ending]\nquiet_until")).find("unknown key `quiet_until`"), std::string::npos);
}

TEST(ScenarioFormat, APointWithoutACourseIsNamed) {
  EXPECT_NE(first_mistake(with("room_c = \"holds 22, noise 0.05\"\n", "")).find("s.toml:7:1: error: `room_c` has no course"), std::string::npos);
}

TEST(ScenarioFormat, CoursesThatFollowEachOtherInACircleAreRefused) {
  EXPECT_NE(first_mistake(with("\"holds 14, follows mains 2, noise 0.05\"", "\"holds 14, adds 1 per regulator_c around 40\"")).find("in a circle"), std::string::npos);
}

TEST(ScenarioFormat, AScenarioThatExpectsNothingIsRefused) {
  EXPECT_NE(first_mistake(good.substr(0, good.find("[[found]]"))).find("expects nothing"), std::string::npos);
}

TEST(ScenarioFormat, ClockTimesAreTheFirstAfterTheBeginning) {
  EXPECT_EQ(parse_time("02:00", 21 * hour), 5 * hour);
  EXPECT_EQ(parse_time("21:00:30", 21 * hour), 30.0);
  EXPECT_EQ(parse_time("+26 h", 21 * hour), 26 * hour);
  EXPECT_FALSE(parse_time("24:00", 0.0).has_value());
  EXPECT_FALSE(parse_time("2:00", 0.0).has_value());
}

TEST(ScenarioFormat, TheWordsDoWhatTheySay) {
  EXPECT_NEAR(rail("warms from 0 to 15 tau 10 min", 600.0), 15.0 * (1.0 - std::exp(-1.0)), 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 ramps 2 per hour", 2 * hour), 17.0, 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 until 22:30 ramps 2 per hour", 3 * hour), 16.0, 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 doubles every 30 min", 2 * hour), 60.0, 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 grows 10 % doubling every 30 min", 2 * hour), 15.0 * 1.3, 1e-9);
  EXPECT_NEAR(rail("holds 15, at 22:00 by -10 %", 2 * hour), 13.5, 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 nears 5 tau 1 h", 2 * hour), 5.0 + 10.0 * std::exp(-1.0), 1e-9);
  EXPECT_NEAR(rail("holds 15, adds 0.1 per room around 20", hour), 15.2, 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 every 10 min for 2 min is 3", hour + 660.0), 3.0, 1e-9);
  EXPECT_NEAR(rail("holds 15, from 22:00 every 10 min for 2 min is 3", hour + 780.0), 15.0, 1e-9);
}

TEST(ScenarioFormat, AnExpectationThatIsNotMetIsSaid) {
  Errors errors;
  const auto scenario = read_scenario(with("-1 % per hour", "0 % per hour"), "s.toml", STEADYGLOW_SOURCE_DIR, errors);
  ASSERT_TRUE(scenario.has_value());
  const auto wrong = play(*scenario);
  ASSERT_FALSE(wrong.empty());
  EXPECT_EQ(wrong.front(), "s.toml:22:1: not found");
}

TEST(ScenarioFormat, WhatNobodyExpectedIsSaid) {
  Errors errors;
  const auto scenario = read_scenario(with("kinds = [\"drift\"]", "kinds = [\"mains\"]"), "s.toml", STEADYGLOW_SOURCE_DIR, errors);
  ASSERT_TRUE(scenario.has_value());
  const auto wrong = play(*scenario);
  ASSERT_GE(wrong.size(), 2u);
  EXPECT_NE(wrong[1].find("nobody expected"), std::string::npos);
}

TEST(ScenarioFormat, TheTwinHasNoFault) {
  Errors errors;
  const auto scenario = read_scenario(good, "s.toml", STEADYGLOW_SOURCE_DIR, errors);
  ASSERT_TRUE(scenario.has_value());
  const auto wrong = play(*scenario, {.is_healthy_twin = true});
  EXPECT_TRUE(wrong.empty()) << wrong.front();
}

}  // namespace
}  // namespace steadyglow::scenarios
