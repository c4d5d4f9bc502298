/// What a message says, and in which order.
#include "notify/words.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

namespace steadyglow::notify {
namespace {

using alarm::Cause;
using alarm::Fact;
using alarm::Incident;
using alarm::Priority;

struct Story {
  Incident incident;
  Situation now;
};

Fact fact(const std::string& unit, const std::string& kind, const std::string& point, Priority priority, const std::string& message) {
  Fact fact;
  fact.id = 1;
  fact.unit = unit;
  fact.kind = kind;
  fact.point = point;
  fact.priority = priority;
  fact.state = alarm::State::unacknowledged;
  fact.is_condition_true = true;
  fact.message = message;
  return fact;
}

UnitSituation unit_of(const std::string& title, Off off, const std::string& off_text) {
  UnitSituation unit;
  unit.name = title;
  unit.title = title;
  unit.bench = "bench 1";
  unit.off = off;
  unit.off_text = off_text;
  return unit;
}

/// One tube of four runs; cut and proven off.
Story one_tube_runs() {
  Story story;
  story.incident.id = 3;
  story.incident.bench = "bench 1";
  story.incident.priority = Priority::high;
  story.incident.facts = {fact("brindlecombe35", "runaway", "v3_cathode_mv", Priority::high, "v3_cathode_mv runs away: 380 mV to 560 mV in 3.4 min, trip limit 554 mV; its matched points stand still")};
  story.now.clock = "02:43:28";
  story.now.utc = "2026-01-01T01:43:28Z";
  story.now.has_smoke_contact = true;
  story.now.is_smoke = false;
  UnitSituation unit = unit_of("Brindlecombe 35", Off::proven, "off, proven: 0.02 A 1.1 s after the order");
  unit.bleed_text = "b_plus_v 31 V, below 50 V 84 s after the order";
  unit.surroundings = "mains 230 V, room 15.2 °C";
  story.now.units = {unit};
  return story;
}

/// The bias feed slips over hours; cut as planned, with a long margin.
Story bias_supply_slips() {
  Story story = one_tube_runs();
  story.now.clock = "03:20:10";
  story.incident.priority = Priority::medium;
  story.incident.facts = {fact("brindlecombe35", "forecast", "bias_feed_v", Priority::medium, "bias_feed_v -44.0 V to -41.7 V; the tubes follow it; the limit would have been reached at 04:05")};
  for (const char* tube : {"v1_cathode_mv", "v2_cathode_mv", "v3_cathode_mv", "v4_cathode_mv"}) story.incident.facts.push_back(fact("brindlecombe35", "drift", tube, Priority::low, std::string(tube) + " climbs"));
  return story;
}

/// The relay welds; the contactor of the bench breaks it, and the neighbour with it.
Story relay_welds(Off off) {
  Story story = one_tube_runs();
  story.now.clock = "04:18:09";
  story.incident.priority = Priority::highest;
  story.incident.facts = {fact("ombrel250", "limit", "offset_left_mv", Priority::high, "offset_left_mv stands at 1400 mV, trip limit 300 mV"),
                          fact("ombrel250", "outlet", "", Priority::highest, "the outlet was ordered off and still gives power")};
  story.now.units = {unit_of("Ombrel 250", off, off == Off::proven ? "off by the bench contactor, proven: 0.00 A 5.2 s after the order" : "0.9 A 6 s after the order")};
  story.now.units[0].neighbours = {"Pellisk T1 is off"};
  return story;
}

Story smoke() {
  Story story = one_tube_runs();
  story.incident.cause = Cause::bench;
  story.incident.priority = Priority::highest;
  story.incident.facts = {fact("", "smoke", "", Priority::highest, "bench 1: SMOKE OR HEAT; everything on the bench was ordered off")};
  story.now.units.clear();
  story.now.is_smoke = true;
  return story;
}

Message written(const Story& story, Purpose purpose = Purpose::alarm) {
  Message message;
  message.purpose = purpose;
  message.link = "http://bench/answer?incident=3";
  write_words(message, story.incident, story.now);
  return message;
}

void expect_in_this_order(const std::string& text, const std::vector<std::string>& parts) {
  std::size_t at = 0;
  for (const std::string& part : parts) {
    const std::size_t found = text.find(part, at);
    ASSERT_NE(found, std::string::npos) << part << " after " << at << " in\n" << text;
    at = found + part.size();
  }
}

bool says(const Message& message, const std::string& what) {
  std::string flat = message.text;
  std::replace(flat.begin(), flat.end(), '\n', ' ');
  return flat.find(what) != std::string::npos;
}

// The order is the trade's: unit and bench; off, and how proven; what moved; alone or with others; mains and room; meters in
// doubt; what is charged; smoke and neighbours; what to do; the link.
TEST(Words, StandInTheOrderInWhichAWokenPersonNeedsThem) {
  const Message message = written(one_tube_runs());
  EXPECT_EQ(message.subject, "SLEEP: Brindlecombe 35, bench 1: OFF, proven");
  expect_in_this_order(message.text, {"02:43:28", "Brindlecombe 35", "bench 1", "OFF, proven", "0.02 A", "What: v3_cathode_mv runs away", "Alone:", "Around: mains 230 V", "Meters: no doubt", "Still charged: b_plus_v 31 V", "Smoke: no", "SLEEP.", "Do not switch it on again", "http://bench/answer"});
}

TEST(Words, OfATubeThatRunsAreTheseToTheLetter) {
  EXPECT_EQ(written(one_tube_runs()).text,
            "02:43:28 Brindlecombe 35, bench 1: OFF, proven.\n"
            "Off: off, proven: 0.02 A 1.1 s after the order.\n"
            "What: v3_cathode_mv runs away: 380 mV to 560 mV in 3.4 min, trip limit 554 mV;\n"
            "its matched points stand still.\n"
            "Alone: no other point of it has an alarm.\n"
            "Around: mains 230 V, room 15.2 °C.\n"
            "Meters: no doubt about any.\n"
            "Still charged: b_plus_v 31 V, below 50 V 84 s after the order.\n"
            "Smoke: no.\n"
            "\n"
            "SLEEP. Do not switch it on again from bed; it waits for somebody at the bench.\n"
            "\n"
            "Seen, or switch off:\n"
            "http://bench/answer?incident=3\n");
}

TEST(Words, OfACommonCauseNameWhatMovedWithIt) {
  const Message message = written(bias_supply_slips());
  EXPECT_EQ(message.advice, Advice::sleep);
  EXPECT_EQ(message.priority, Priority::medium);
  EXPECT_TRUE(says(message, "What: bias_feed_v -44.0 V to -41.7 V"));
  EXPECT_TRUE(says(message, "And 4 more alarms of the same cause."));
  EXPECT_TRUE(says(message, "With it: v1_cathode_mv, v2_cathode_mv, v3_cathode_mv, v4_cathode_mv."));
}

TEST(Words, OfAWeldedRelayThatTheContactorBrokeSaySleep) {
  const Message message = written(relay_welds(Off::proven));
  EXPECT_EQ(message.subject, "SLEEP: Ombrel 250, bench 1: OFF, proven");
  expect_in_this_order(message.text, {"OFF, proven", "by the bench contactor", "0.00 A", "What: offset_left_mv stands at 1400 mV", "Smoke: no", "Beside it: Pellisk T1 is off", "SLEEP"});
}

TEST(Words, OfAUnitThatStaysLiveCallThePersonIn) {
  const Message message = written(relay_welds(Off::failed));
  EXPECT_EQ(message.subject, "COME: Ombrel 250, bench 1: ORDERED OFF AND NOT OFF");
  EXPECT_TRUE(says(message, "if it is safe to do so"));
  EXPECT_TRUE(says(message, "measure before you touch"));
}

TEST(Words, OfAContactorThatDoesNotBreakCallThePersonIn) {
  Story story = smoke();
  story.now.is_smoke = false;
  story.incident.facts = {fact("", "contactor", "", Priority::highest, "bench 1: the contactor was ordered open and still gives power")};
  EXPECT_EQ(written(story).advice, Advice::come);
}

TEST(Words, OfSmokeCallTheFireServiceFirstAndSendNobodyIn) {
  const Message message = written(smoke());
  EXPECT_EQ(message.subject, "COME: bench 1: SMOKE OR HEAT");
  EXPECT_TRUE(says(message, "call the fire service first"));
  EXPECT_TRUE(says(message, "Do not enter"));
  EXPECT_TRUE(says(message, "Smoke: YES."));
}

TEST(Words, NeverSaySleepWhileSomethingBurnsHoweverWellItIsProvenOff) {
  Story story = one_tube_runs();
  story.now.is_smoke = true;
  EXPECT_EQ(written(story).advice, Advice::come);
}

TEST(Words, WithoutAProofDoNotSaySleep) {
  for (const Off off : {Off::waiting, Off::unprovable}) {
    Story story = one_tube_runs();
    story.now.units[0].off = off;
    EXPECT_EQ(written(story).advice, Advice::look);
  }
}

TEST(Words, WithASmokeContactThatCannotBeReadSayLook) {
  Story story = one_tube_runs();
  story.now.is_smoke.reset();
  EXPECT_EQ(written(story).advice, Advice::look);
  EXPECT_TRUE(says(written(story), "Smoke: its contact cannot be read."));
  EXPECT_EQ(written(story).subject, "LOOK: Brindlecombe 35, bench 1: OFF, proven; its smoke contact cannot be read") << "what there is to look for";
  story.now.has_smoke_contact = false;
  EXPECT_EQ(written(story).advice, Advice::sleep) << "a bench without one has other smoke alarms";
  EXPECT_TRUE(says(written(story), "Smoke: no contact is connected."));
}

TEST(Words, OfWhatIsLoudAndStillOnSayLook) {
  Story story = one_tube_runs();
  story.now.units[0].off = Off::on;
  EXPECT_EQ(written(story).advice, Advice::look);
  EXPECT_EQ(written(story).subject, "LOOK: Brindlecombe 35, bench 1: still ON");
}

TEST(Words, OfWhatIsOnAndCanWaitDoNotForbidASwitchingOn) {
  Story story = one_tube_runs();
  story.incident.priority = Priority::medium;
  story.now.units[0].off = Off::on;
  EXPECT_TRUE(says(written(story), "SLEEP. It can wait for the morning."));
}

TEST(Words, WarnOfAChargeThatNobodyMeasures) {
  Story story = one_tube_runs();
  story.now.units[0].bleed_text.clear();
  EXPECT_TRUE(says(written(story), "Still charged: not measured; measure before you touch."));
}

TEST(Words, NameTheMetersThatAreNotToBeBelieved) {
  Story story = one_tube_runs();
  story.now.units[0].doubts = {"v1_cathode_mv (contact_lost)", "room_c (stale)"};
  EXPECT_TRUE(says(written(story), "Meters: v1_cathode_mv (contact_lost), room_c (stale)."));
}

TEST(Words, SayWhetherItIsToldAgainOrOver) {
  EXPECT_EQ(written(one_tube_runs(), Purpose::repeat).subject, "SLEEP: again: Brindlecombe 35, bench 1: OFF, proven");
  EXPECT_EQ(written(one_tube_runs(), Purpose::changed).subject, "SLEEP: now: Brindlecombe 35, bench 1: OFF, proven");
  EXPECT_EQ(written(one_tube_runs(), Purpose::over).subject, "SLEEP: over: Brindlecombe 35, bench 1: OFF, proven");
}

TEST(Words, OfABusAndOfTheMainsNameTheCauseBeforeItsUnits) {
  Story story = one_tube_runs();
  story.incident.cause = Cause::bus;
  story.incident.cause_name = "line";
  story.incident.priority = Priority::medium;
  story.now.units = {unit_of("Brindlecombe 35", Off::on, ""), unit_of("Ostrel 9", Off::on, "")};
  EXPECT_EQ(written(story).subject, "SLEEP: bus line, 2 units: still ON");
  story.incident.cause = Cause::mains;
  story.now.units[1].off = Off::proven;
  EXPECT_EQ(written(story).subject, "SLEEP: mains of bench 1; Brindlecombe 35, bench 1: still ON; Ostrel 9, bench 1: OFF, proven");
}

TEST(Words, OfSeveralUnitsNameEachAndTheWorstAdviceOfAll) {
  const Story tube = one_tube_runs(), relay = relay_welds(Off::failed);
  Message message;
  write_words(message, {{&tube.incident, tube.now, "http://bench/3"}, {&relay.incident, relay.now, "http://bench/4"}});
  EXPECT_EQ(message.subject, "COME: bench 1, 2 units at once: 1 OFF, proven; 1 ORDERED OFF AND NOT OFF");
  expect_in_this_order(message.text, {"Brindlecombe 35, bench 1: OFF, proven", "0.02 A", "v3_cathode_mv runs away", "Ombrel 250, bench 1: ORDERED OFF", "Around: mains 230 V", "Meters:", "Still charged: Brindlecombe 35", "Smoke: no", "COME.", "http://bench/3", "http://bench/4"});
  const auto json = nlohmann::json::parse(message.facts);
  EXPECT_EQ(json["incident"], 3);
  EXPECT_EQ(json["others"].size(), 1u);
}

TEST(Words, OfALineHaveAtMost78CharactersAndNoMarkup) {
  Story story = one_tube_runs();
  story.incident.facts[0].message += " and so on for a long time, in a room of 15.2 °C, with mains of 230 V, while everything else that hangs on the same wire stands as still as it did before";
  for (const Message& message : {written(story), written(smoke()), written(bias_supply_slips()), written(relay_welds(Off::failed))}) {
    std::size_t begin = 0;
    for (std::size_t end = message.text.find('\n'); end != std::string::npos; begin = end + 1, end = message.text.find('\n', begin)) EXPECT_LE(end - begin, 78u) << message.text.substr(begin, end - begin);
    for (const char* mark : {"<", "**", "##", "`"}) EXPECT_EQ(message.text.find(mark), std::string::npos) << mark;
    EXPECT_EQ(message.subject.find('\n'), std::string::npos);
  }
}

TEST(Words, OfALineBreakInAMessageMakeABlank) {
  Story story = one_tube_runs();
  story.incident.facts[0].message = "one\r\nBcc: two";
  EXPECT_TRUE(says(written(story), "What: one"));
  EXPECT_EQ(written(story).text.find("\nBcc"), std::string::npos);
}

TEST(Words, ForMachinesAreOneObject) {
  const auto json = nlohmann::json::parse(written(one_tube_runs()).facts);
  EXPECT_EQ(json["bench"], "bench 1");
  EXPECT_EQ(json["is_smoke"], false);
  EXPECT_EQ(json["units"][0]["off"], "OFF, proven");
  EXPECT_EQ(json["units"][0]["surroundings"], "mains 230 V, room 15.2 °C");
  EXPECT_EQ(json["alarms"][0]["point"], "v3_cathode_mv");
}

TEST(Words, ThatAreNotUtf8AreStillAnObjectForMachines) {
  Story story = one_tube_runs();
  story.incident.facts[0].message = "bad \xff byte";
  EXPECT_TRUE(nlohmann::json::accept(written(story).facts));
}

TEST(Words, WaitForAProofOnlyWhereACutIsOnItsWay) {
  Story story = one_tube_runs();
  EXPECT_FALSE(awaits_proof(story.now));
  for (const Off off : {Off::waiting, Off::failed}) {
    story.now.units[0].off = off;
    EXPECT_TRUE(awaits_proof(story.now));
  }
}

}  // namespace
}  // namespace steadyglow::notify
