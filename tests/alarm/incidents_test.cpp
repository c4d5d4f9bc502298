/// Grouping by cause: what is told together.
#include "alarm/incidents.hpp"

#include <gtest/gtest.h>

namespace steadyglow::alarm {
namespace {

using std::chrono::minutes;

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

TEST(Incidents, WhatTheOutletOfAUnitSaysBelongsToItsTrip) {
  Incidents incidents;
  const auto id = incidents.take(fact(1, "ombrel250"));
  Fact outlet = fact(2, "ombrel250", Cause::bench, "bench 1");
  outlet.kind = "outlet";
  outlet.priority = Priority::highest;
  EXPECT_EQ(incidents.take(outlet), id);
  EXPECT_EQ(incidents.find(id)->cause, Cause::unit);
  EXPECT_EQ(incidents.find(id)->priority, Priority::highest);
}

TEST(Incidents, TwoRunsOfAUnitAreTwo) {
  Incidents incidents;
  Fact first = fact(1, "a");
  first.run = 4;
  Fact second = fact(2, "a");
  second.run = 5;
  EXPECT_NE(incidents.take(first), incidents.take(second));
}

TEST(Incidents, SmokeAndAContactorOfOneBenchAreTwo) {
  Incidents incidents;
  Fact smoke = fact(1, "", Cause::bench, "bench 1");
  smoke.kind = "smoke";
  Fact contactor = fact(2, "", Cause::bench, "bench 1");
  contactor.kind = "contactor";
  EXPECT_NE(incidents.take(smoke), incidents.take(contactor));
}

TEST(Incidents, TheMainsOfTwoBenchesAreTwo) {
  Incidents incidents;
  Fact other = fact(2, "b", Cause::mains);
  other.bench = "bench 2";
  EXPECT_NE(incidents.take(fact(1, "a", Cause::mains)), incidents.take(other));
}

TEST(Incidents, AnOldAlarmThatSpeaksAgainDoesNotDrawNewOnesIntoItsIncident) {
  Incidents incidents;
  Fact old = fact(1, "a");
  incidents.take(old);
  old.state = State::normal;
  old.is_condition_true = false;
  incidents.take(at(old, minutes{1}));
  const auto second = incidents.take(at(fact(2, "a"), minutes{60}));
  old.why = "a remark";
  incidents.take(at(old, minutes{61}));
  EXPECT_EQ(incidents.take(at(fact(3, "a"), minutes{62})), second);
}

TEST(Incidents, WhatNobodyHasAcknowledgedIsJoinedHoweverLateTheNextComes) {
  Incidents incidents;
  Fact one = fact(1, "a");
  const auto id = incidents.take(one);
  one.state = State::returned_unacknowledged;
  one.is_condition_true = false;
  incidents.take(at(one, minutes{1}));
  EXPECT_EQ(incidents.take(at(fact(2, "a"), minutes{600})), id);
}

TEST(Incidents, WhatWaitsForAPersonIsNotWhatHolds) {
  Incidents incidents;
  Fact trip = fact(1, "a");
  trip.priority = Priority::high;
  const auto id = incidents.take(trip);
  trip.state = State::acknowledged;
  trip.who = "Ada";
  incidents.take(trip);
  incidents.take(fact(2, "a"));
  EXPECT_EQ(incidents.find(id)->waiting_priority(), Priority::low);
  EXPECT_EQ(incidents.find(id)->standing_priority(), Priority::high);
  EXPECT_TRUE(incidents.find(id)->needs_person);
  EXPECT_EQ(incidents.find(id)->acknowledged_by, "") << "something new came";
}

TEST(Incidents, WhatIsOverAndSeenMakesRoomBeforeWhatStands) {
  Incidents incidents;
  const auto standing = incidents.take(fact(1, "the first"));
  Fact over = fact(2, "the second");
  const auto gone = incidents.take(over);
  over.state = State::normal;
  over.is_condition_true = false;
  incidents.take(over);
  for (std::int64_t i = 3; i <= static_cast<std::int64_t>(Incidents::kept_max) + 1; ++i) incidents.take(fact(i, "unit " + std::to_string(i)));
  EXPECT_EQ(incidents.all().size(), Incidents::kept_max);
  EXPECT_NE(incidents.find(standing), nullptr);
  EXPECT_EQ(incidents.find(gone), nullptr);
}

TEST(Incidents, AreBoundedWhateverComes) {
  Incidents incidents;
  for (std::int64_t i = 0; i < 30'000; ++i) incidents.take(fact(i, "unit " + std::to_string(i % 1000)));
  EXPECT_LE(incidents.all().size(), Incidents::kept_max);
}

TEST(Priorities, HaveTheWordsOfTheStandardsAndCausesThoseOfTheShop) {
  EXPECT_EQ(to_word(Priority::low), "low");
  EXPECT_EQ(to_word(Priority::highest), "highest");
  EXPECT_EQ(to_word(Cause::unit), "unit");
  EXPECT_EQ(to_word(Cause::bench), "bench");
}

}  // namespace
}  // namespace steadyglow::alarm
