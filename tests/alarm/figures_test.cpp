/// The figures of the alarm system itself, against ANSI/ISA-18.2-2016, 16.4 (Tables 5 and 6, seen in a compliance document
/// that quotes the sections). The traces are worked by hand here.
#include "alarm/figures.hpp"

#include <gtest/gtest.h>

#include <algorithm>

namespace steadyglow::alarm {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;

Fact fact(std::int64_t id, Duration when, const std::string& unit = "u") {
  Fact fact;
  fact.id = id;
  fact.unit = unit;
  fact.kind = "drift";
  fact.point = "watts";
  fact.state = State::unacknowledged;
  fact.is_condition_true = true;
  fact.at = Timestamp{} + when;
  return fact;
}

Fact normal(Fact fact, Duration when) {
  fact.state = State::normal;
  fact.is_condition_true = false;
  fact.at = Timestamp{} + when;
  return fact;
}

FiguresNow at(const Figures& figures, Duration when) { return figures.at(Timestamp{} + when); }

const FigureRow& row(const std::vector<FigureRow>& rows, const std::string& name) {
  const auto found = std::find_if(rows.begin(), rows.end(), [&](const FigureRow& one) { return one.name == name; });
  EXPECT_NE(found, rows.end()) << name;
  return *found;
}

TEST(Figures, RatesAreOfWhatWasAnnunciated) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 12; ++i) figures.note(fact(i, minutes{30 * i}));
  Fact seen = fact(3, minutes{355});
  seen.state = State::acknowledged;
  figures.note(seen);
  const FiguresNow now = at(figures, hours{6});
  EXPECT_NEAR(now.per_hour, 2.0, 1e-9);
  EXPECT_NEAR(now.per_10_min, 1.0 / 3.0, 1e-9);
  EXPECT_EQ(now.by_priority[0], 12u);
}

// 16.4.2, Table 5: 6 an hour (1 in 10 min) very likely acceptable, 12 (2) the most that can be managed.
TEST(Figures, SixAnHourAreAcceptableAndTwelveTheMost) {
  for (const int each : {10, 5}) {
    Figures figures(Timestamp{});
    for (int i = 0; i < 24 * 60 / each; ++i) figures.note(fact(i, minutes{each * i}));
    const FiguresNow now = at(figures, hours{24});
    EXPECT_NEAR(now.per_hour, 60.0 / each, 1e-9);
    const auto rows = against_the_table(now);
    EXPECT_EQ(row(rows, "alarms in an hour").is_met, each == 10);
    EXPECT_EQ(row(rows, "alarms in ten minutes").is_met, each == 10);
    EXPECT_LE(now.per_hour, row(rows, "alarms in an hour").limit);
  }
}

TEST(Figures, OfTheFirstMinutesAreNotBlownUp) {
  Figures figures(Timestamp{});
  figures.note(fact(1, seconds{1}));
  EXPECT_NEAR(at(figures, seconds{2}).per_hour, 6.0, 1e-9) << "one in ten minutes, not one in a second";
}

// 16.4.3: periods of ten minutes by the clock of the observation; 11 in the first, 10 in the third, of 6 in the hour.
TEST(Figures, CountTheTenMinutePeriodsAboveTen) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 11; ++i) figures.note(fact(i, seconds{50 * i}));
  for (int i = 0; i < 10; ++i) figures.note(fact(100 + i, minutes{20} + seconds{50 * i}));
  const FiguresNow now = at(figures, hours{1});
  EXPECT_EQ(now.most_in_10_min, 11u);
  EXPECT_NEAR(now.flood_share, 1.0 / 6.0, 1e-9);
  EXPECT_FALSE(row(against_the_table(now), "most in one ten-minute period").is_met);
}

// 16.4.4: a flood begins above 10 alarms in 10 min and ends below 5 in 10 min.
TEST(Figures, AFloodBeginsAboveTenAndEndsBelowFive) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 10; ++i) figures.note(fact(i, seconds{30 * i}));
  EXPECT_FALSE(at(figures, seconds{300}).is_flood);
  figures.note(fact(10, seconds{310}));
  EXPECT_TRUE(at(figures, seconds{310}).is_flood);
  // They came at 0, 30, ... 270, 310 s: the fifth from the end (180 s) leaves the window at 780 s, and four are left.
  EXPECT_TRUE(at(figures, seconds{779}).is_flood);
  EXPECT_TRUE(at(figures, seconds{750}).is_flood) << "five are left";
  EXPECT_FALSE(at(figures, seconds{780}).is_flood);
}

TEST(Figures, TenInTenMinutesAreNoFloodHoweverLongTheyGoOn) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 600; ++i) figures.note(fact(i, minutes{i}));
  EXPECT_EQ(at(figures, minutes{599}).most_in_10_min, 10u);
  EXPECT_NEAR(at(figures, minutes{599}).time_in_flood, 0.0, 1e-12);
}

TEST(Figures, KnowHowLongTheFloodWas) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 10; ++i) figures.note(fact(i, seconds{30 * i}));
  figures.note(fact(10, seconds{310}));
  const FiguresNow now = at(figures, seconds{4700});
  EXPECT_NEAR(now.time_in_flood, (780.0 - 310.0) / 4700.0, 1e-9) << "from 310 s to 780 s";
  EXPECT_FALSE(row(against_the_table(now), "share of time in flood").is_met);
  EXPECT_NEAR(at(figures, seconds{610}).time_in_flood, 300.0 / 610.0, 1e-9) << "one that goes on counts so far";
}

TEST(Figures, AFloodIsOverBetweenTwoAlarmsToo) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 11; ++i) figures.note(fact(i, seconds{i}));
  // 4 more at 595 s: at 610 s only they are left, so the flood ended before the fifth comes.
  for (int i = 0; i < 4; ++i) figures.note(fact(20 + i, seconds{595}));
  figures.note(fact(30, seconds{620}));
  EXPECT_FALSE(at(figures, seconds{621}).is_flood);
}

// 16.4.7: fewer than five that stand over 24 h.
TEST(Figures, WhatStandsOverADayIsStale) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 5; ++i) figures.note(fact(i, minutes{1}));
  EXPECT_EQ(at(figures, hours{23}).standing_over_24_h, 0u);
  EXPECT_EQ(at(figures, hours{25}).standing_over_24_h, 5u);
  EXPECT_FALSE(row(against_the_table(at(figures, hours{25})), "standing over 24 h").is_met);
  figures.note(normal(fact(0, {}), hours{25}));
  EXPECT_TRUE(row(against_the_table(at(figures, hours{25})), "standing over 24 h").is_met);
}

TEST(Figures, AcknowledgingDoesNotMakeAnAlarmYoung) {
  Figures figures(Timestamp{});
  figures.note(fact(1, minutes{0}));
  Fact seen = fact(1, hours{20});
  seen.state = State::acknowledged;
  figures.note(seen);
  EXPECT_EQ(at(figures, hours{25}).standing_over_24_h, 1u);
}

// 16.4.6: none. "3 or more in 1 min" is from memory.
TEST(Figures, AConditionThatComesThriceInAMinuteChatters) {
  for (const int each : {20, 30, 31}) {
    Figures figures(Timestamp{});
    for (int i = 0; i < 3; ++i) {
      figures.note(fact(i, seconds{each * i}));
      figures.note(normal(fact(i, {}), seconds{each * i + 5}));
    }
    EXPECT_EQ(at(figures, minutes{2}).chattering.size(), each <= 30 ? 1u : 0u) << each;
  }
}

TEST(Figures, ThreeConditionsInAMinuteDoNotChatter) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 3; ++i) figures.note(fact(i, seconds{10 * i}, "unit " + std::to_string(i)));
  EXPECT_TRUE(at(figures, minutes{2}).chattering.empty());
}

TEST(Figures, WhatChatteredIsForgottenAfterThirtyDays) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 3; ++i) figures.note(fact(i, seconds{i}));
  EXPECT_EQ(at(figures, hours{24 * 29}).chattering, std::vector<std::string>{"u drift watts"});
  EXPECT_TRUE(at(figures, hours{24 * 31}).chattering.empty());
}

// 16.4.8, Table 6: 80 / 15 / 5, the highest under 1 %.
TEST(Figures, ThePrioritiesAreSplitAsTheTableWantsThem) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 100; ++i) {
    Fact one = fact(i, minutes{20 * i});
    one.priority = i < 80 ? Priority::low : i < 95 ? Priority::medium : Priority::high;
    figures.note(one);
  }
  const FiguresNow now = at(figures, minutes{2000});
  EXPECT_EQ(now.by_priority, (std::array<std::uint64_t, priority_count>{80, 15, 5, 0}));
  for (const FigureRow& one : against_the_table(now)) EXPECT_TRUE(one.is_met || one.section != "16.4.8") << one.name;
}

TEST(Figures, ABenchThatOnlyShoutsDoesNotMeetTheTable) {
  Figures figures(Timestamp{});
  Fact one = fact(1, minutes{1});
  one.priority = Priority::highest;
  figures.note(one);
  EXPECT_FALSE(row(against_the_table(at(figures, hours{24})), "share of highest priority").is_met);
}

TEST(Figures, ABenchWithoutAnyAlarmMeetsTheTable) {
  for (const FigureRow& one : against_the_table(at(Figures(Timestamp{}), hours{24}))) EXPECT_TRUE(one.is_met) << one.name;
}

// 16.4.5
TEST(Figures, NameWhatWasAnnunciatedMostOften) {
  Figures figures(Timestamp{});
  int id = 0;
  for (int unit = 0; unit < 12; ++unit)
    for (int times = 0; times <= unit; ++times, ++id) figures.note(fact(id, minutes{id * 5}, "unit " + std::to_string(unit)));
  const FiguresNow now = at(figures, hours{24});
  ASSERT_EQ(now.top.size(), Figures::top_max);
  EXPECT_EQ(now.top[0], (std::pair<std::string, std::uint64_t>{"unit 11 drift watts", 12}));
  EXPECT_EQ(now.top[9].second, 3u);
  EXPECT_NEAR(now.top_share, 75.0 / 78.0, 1e-9) << "12 + 11 + ... + 3 of 78";
}

TEST(Figures, WhatIsOlderThanThirtyDaysCountsNoMoreThoughNothingCameSince) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 30; ++i) figures.note(fact(i, seconds{i}));
  const FiguresNow now = at(figures, hours{24 * 40});
  EXPECT_EQ(now.per_hour, 0.0);
  EXPECT_EQ(now.most_in_10_min, 0u);
  EXPECT_EQ(now.by_priority[0], 0u);
  EXPECT_EQ(now.time_in_flood, 0.0);
  EXPECT_NEAR(now.hours, 720.0, 1e-9);
}

TEST(Figures, WhatIsShelvedIsCounted) {
  Figures figures(Timestamp{});
  Fact one = fact(1, minutes{1});
  figures.note(one);
  one.state = State::shelved;
  figures.note(one);
  EXPECT_EQ(at(figures, minutes{2}).shelved, 1u);
  EXPECT_EQ(at(figures, hours{30}).standing_over_24_h, 0u) << "what is shelved is not shown as standing";
}

TEST(Figures, AReAlarmIsAnAnnunciationAndAnAcknowledgementIsNone) {
  Figures figures(Timestamp{});
  Fact one = fact(1, minutes{1});
  figures.note(one);
  figures.note(one);
  one.state = State::acknowledged;
  figures.note(one);
  one.state = State::unacknowledged;
  figures.note(one);
  EXPECT_EQ(at(figures, minutes{10}).by_priority[0], 2u);
}

}  // namespace
}  // namespace steadyglow::alarm
