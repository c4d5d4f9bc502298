/// Grouping by cause, and the figures of the alarm system itself.
#include "alarm/incidents.hpp"

#include <gtest/gtest.h>

#include "alarm/figures.hpp"

namespace steadyglow::alarm {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

Fact fact(std::int64_t id, const std::string& unit, Cause cause = Cause::unit, const std::string& name = {}) {
  Fact fact;
  fact.id = id;
  fact.unit = unit;
  fact.bench = "bench 1";
  fact.kind = "drift";
  fact.cause = cause;
  fact.cause_name = name;
  fact.state = State::unacknowledged;
  fact.is_condition_true = true;
  return fact;
}

Fact at(Fact fact, Duration when) {
  fact.at = Timestamp{} + when;
  return fact;
}

TEST(Incidents, AllThatAUnitsRunBringsIsOne) {
  Incidents incidents;
  const auto id = incidents.take(fact(1, "brindlecombe35"));
  Fact trip = fact(2, "brindlecombe35");
  trip.priority = Priority::high;
  EXPECT_EQ(incidents.take(trip), id);
  EXPECT_EQ(incidents.find(id)->priority, Priority::high);
  EXPECT_EQ(incidents.find(id)->leading().id, 2);
}

TEST(Incidents, TwoUnitsAreTwo) {
  Incidents incidents;
  EXPECT_NE(incidents.take(fact(1, "a")), incidents.take(fact(2, "b")));
}

TEST(Incidents, ADeadBusOverThreeUnitsIsOne) {
  Incidents incidents;
  const auto id = incidents.take(fact(1, "a", Cause::bus, "line"));
  EXPECT_EQ(incidents.take(fact(2, "b", Cause::bus, "line")), id);
  EXPECT_EQ(incidents.take(fact(3, "c", Cause::bus, "line")), id);
  EXPECT_EQ(incidents.find(id)->units().size(), 3u);
}

TEST(Incidents, TheMainsOfABenchAreOne) {
  Incidents incidents;
  EXPECT_EQ(incidents.take(fact(1, "a", Cause::mains)), incidents.take(fact(2, "b", Cause::mains)));
}

TEST(Incidents, IsOverWhenNoConditionHoldsAndSeenWhenNoAlarmWaits) {
  Incidents incidents;
  Fact one = fact(1, "a");
  const auto id = incidents.take(one);
  one.state = State::returned_unacknowledged;
  one.is_condition_true = false;
  incidents.take(one);
  EXPECT_FALSE(incidents.find(id)->is_standing);
  EXPECT_FALSE(incidents.find(id)->is_acknowledged());
  one.state = State::normal;
  one.who = "Ada";
  incidents.take(one);
  EXPECT_TRUE(incidents.find(id)->is_acknowledged());
  EXPECT_EQ(incidents.find(id)->acknowledged_by, "Ada");
}

TEST(Incidents, WhatComesLongAfterIsAnotherOne) {
  Incidents incidents;
  Fact one = fact(1, "a");
  const auto id = incidents.take(one);
  one.state = State::normal;
  one.is_condition_true = false;
  incidents.take(at(one, minutes{1}));
  EXPECT_EQ(incidents.take(at(fact(2, "a"), minutes{10})), id);
  Fact two = at(fact(2, "a"), minutes{11});
  two.state = State::normal;
  two.is_condition_true = false;
  incidents.take(two);
  EXPECT_NE(incidents.take(at(fact(3, "a"), minutes{60})), id);
}

TEST(Incidents, KeepTheirNumbersOverARestart) {
  Incidents incidents;
  incidents.restore(7, 41);
  EXPECT_EQ(incidents.take(fact(7, "a")), 41);
  EXPECT_EQ(incidents.take(fact(8, "b")), 42);
}

// ANSI/ISA-18.2-2016, 16.4.4: a flood begins above 10 alarms in 10 min and ends below 5 in 10 min.
TEST(Figures, AFloodBeginsAboveTenAndEndsBelowFive) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 10; ++i) figures.note(at(fact(i, "u" + std::to_string(i)), seconds{30 * i}));
  EXPECT_FALSE(figures.at(Timestamp{} + seconds{300}).is_flood);
  figures.note(at(fact(10, "u10"), seconds{310}));
  EXPECT_TRUE(figures.at(Timestamp{} + seconds{310}).is_flood);
  EXPECT_EQ(figures.at(Timestamp{} + seconds{310}).most_in_10_min, 11u);
  EXPECT_FALSE(figures.at(Timestamp{} + minutes{30}).is_flood);
}

TEST(Figures, RatesAreOfWhatWasAnnunciated) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 12; ++i) figures.note(at(fact(i, "u"), minutes{30 * i}));
  Fact seen = at(fact(3, "u"), minutes{355});
  seen.state = State::acknowledged;
  figures.note(seen);
  const FiguresNow now = figures.at(Timestamp{} + std::chrono::hours{6});
  EXPECT_NEAR(now.per_hour, 2.0, 1e-9);
  EXPECT_NEAR(now.per_10_min, 1.0 / 3.0, 1e-9);
  EXPECT_EQ(now.by_priority[0], 12u);
}

TEST(Figures, WhatStandsOverADayIsStale) {
  Figures figures(Timestamp{});
  figures.note(at(fact(1, "u"), minutes{1}));
  EXPECT_EQ(figures.at(Timestamp{} + std::chrono::hours{23}).standing_over_24_h, 0u);
  EXPECT_EQ(figures.at(Timestamp{} + std::chrono::hours{25}).standing_over_24_h, 1u);
}

TEST(Figures, AConditionThatComesThriceInAMinuteChatters) {
  Figures figures(Timestamp{});
  for (int i = 0; i < 3; ++i) {
    figures.note(at(fact(i, "u"), seconds{20 * i}));
    Fact over = at(fact(i, "u"), seconds{20 * i + 5});
    over.state = State::normal;
    figures.note(over);
  }
  EXPECT_EQ(figures.at(Timestamp{} + minutes{2}).chattering.size(), 1u);
}

TEST(Figures, WhatIsShelvedIsCounted) {
  Figures figures(Timestamp{});
  Fact one = fact(1, "u");
  figures.note(one);
  one.state = State::shelved;
  figures.note(one);
  EXPECT_EQ(figures.at(Timestamp{} + minutes{2}).shelved, 1u);
}

}  // namespace
}  // namespace steadyglow::alarm
