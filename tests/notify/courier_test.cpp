/// Who is told what, when and how loudly.
#include "notify/courier.hpp"

#include <gtest/gtest.h>

#include <algorithm>

#include "notify/night.hpp"

namespace steadyglow::notify {
namespace {

using alarm::Cause;
using std::chrono::minutes;
using std::chrono::seconds;

TEST(Courier, TellsNobodyOfWhatCanWaitForTheMorning) {
  Night night;
  night.raise(night.fact(1, Priority::low));
  night.pass(minutes{600});
  EXPECT_EQ(night.told(), "");
}

TEST(Courier, TellsOnceAndSilentlyOfWhatIsDone) {
  Night night;
  night.raise(night.fact(1, Priority::medium));
  night.pass(minutes{600});
  EXPECT_EQ(night.told(), "alarm>Ada/mail ");
  EXPECT_EQ(night.sent[0].advice, Advice::sleep);
}

TEST(Courier, SendsOneLoudMessageForATripAndItsSixAlarms) {
  Night night;
  for (int i = 1; i <= 5; ++i) night.raise(night.fact(i, Priority::low));
  night.raise(night.fact(6, Priority::high));
  night.pass(minutes{5});
  EXPECT_EQ(night.told(), "alarm>Ada/mail ");
  EXPECT_NE(night.sent[0].text.find("And 5 more alarms of the same cause"), std::string::npos) << night.sent[0].text;
}

TEST(Courier, RepeatsUntilSomebodyAnswersAndThenNoMore) {
  Night night;
  const Fact trip = night.fact(1, Priority::high);
  night.raise(trip);
  night.pass(minutes{16});
  EXPECT_EQ(night.told(), "alarm>Ada/mail repeat>Ada/mail ");
  night.acknowledge(trip);
  night.pass(minutes{600});
  EXPECT_EQ(night.sent.size(), 2u);
}

TEST(Courier, CallsTheNextPersonWhenTheFirstDoesNotAnswer) {
  Night night;
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{31});
  EXPECT_NE(night.told().find("escalation>Ben/mail_ben"), std::string::npos) << night.told();
}

TEST(Courier, RingsByEveryRouteWhileTheHighestHolds) {
  Night night;
  night.off = Off::failed;
  Fact failed = night.fact(1, Priority::highest);
  night.raise(failed);
  night.pass(minutes{1});
  EXPECT_EQ(night.told(), "alarm>Ada/mail alarm>Ada/ring ");
  EXPECT_EQ(night.sent[0].advice, Advice::come);
  night.pass(minutes{2});
  EXPECT_NE(night.told().find("escalation>Ben/mail_ben"), std::string::npos) << night.told();
}

TEST(Courier, WaitsForTheProofBeforeTheFirstWord) {
  Night night;
  night.off = Off::waiting;
  night.raise(night.fact(1, Priority::high));
  night.pass(seconds{3});
  EXPECT_EQ(night.told(), "");
  night.off = Off::proven;
  night.pass(seconds{2});
  ASSERT_EQ(night.sent.size(), 1u);
  EXPECT_EQ(night.sent[0].advice, Advice::sleep);
}

TEST(Courier, DoesNotWaitForAProofThatDoesNotCome) {
  Night night;
  night.off = Off::waiting;
  night.raise(night.fact(1, Priority::high));
  night.pass(seconds{8});
  ASSERT_EQ(night.sent.size(), 1u);
  EXPECT_EQ(night.sent[0].advice, Advice::look);
}

TEST(Courier, TellsThatItIsOffAfterAllToWhomItHadCalled) {
  Night night;
  night.off = Off::failed;
  Fact failed = night.fact(1, Priority::highest);
  night.raise(failed);
  night.pass(seconds{10});
  ASSERT_EQ(night.sent.back().advice, Advice::come);
  night.off = Off::proven;
  failed.is_condition_true = false;
  failed.state = State::latched_unacknowledged;
  night.raise(failed);
  night.pass(seconds{5});
  EXPECT_EQ(night.sent.back().purpose, Purpose::changed);
  EXPECT_EQ(night.sent.back().advice, Advice::sleep);
  const std::size_t so_far = night.sent.size();
  night.pass(minutes{10});
  EXPECT_EQ(night.sent.size(), so_far) << "it rings no more";
}

TEST(Courier, SaysThatItIsOverOnlyWhereItHadBeenDelivered) {
  for (const bool is_delivered : {true, false}) {
    Night night;
    if (!is_delivered) night.failing = {"mail", "ring"};
    Fact trip = night.fact(1, Priority::high);
    night.raise(trip);
    night.pass(minutes{1});
    trip.is_condition_true = false;
    night.acknowledge(trip);
    night.pass(minutes{1});
    EXPECT_EQ(night.told().find("over>") != std::string::npos, is_delivered) << night.told();
  }
}

TEST(Courier, TakesTheNextRouteWhenTheFirstRefuses) {
  Night night;
  night.failing = {"mail"};
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{1});
  EXPECT_EQ(night.told(), "alarm>Ada/mail alarm>Ada/ring ");
  EXPECT_NE(night.sent[0].id, night.sent[1].id);
}

TEST(Courier, DoesNotDrownInRefusalsWhenNoRouteWorks) {
  Night night;
  night.failing = {"mail", "ring", "mail_ben"};
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{10});
  EXPECT_EQ(night.sent.size(), 2u) << "each route once; they go on trying by themselves";
}

// ---- people and routes -----------------------------------------------------------------------------------------

TEST(Courier, CallsTheNextPersonAndDoesNotCallTheFirstTwice) {
  Night night;
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{29});
  night.sent.clear();
  night.pass(minutes{2});
  EXPECT_EQ(night.told(), "escalation>Ben/mail_ben repeat>Ada/mail ");
  night.pass(minutes{15});
  EXPECT_EQ(night.told(), "escalation>Ben/mail_ben repeat>Ada/mail repeat>Ada/mail repeat>Ben/mail_ben ");
}

TEST(Courier, KeepsTheHourOfTheFirstPersonsRepeatWhenTheSecondIsCalled) {
  CourierTiming timing;
  timing.escalate_high_minutes = 20.0;
  Night night(timing);
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{29});
  EXPECT_EQ(night.told(), "alarm>Ada/mail repeat>Ada/mail escalation>Ben/mail_ben ");
  night.pass(minutes{2});
  EXPECT_EQ(night.told(), "alarm>Ada/mail repeat>Ada/mail escalation>Ben/mail_ben repeat>Ada/mail repeat>Ben/mail_ben ");
}

TEST(Courier, RingsEveryMinuteUntilSomebodyAnswers) {
  Night night;
  night.off = Off::failed;
  const Fact failed = night.fact(1, Priority::highest);
  night.raise(failed);
  night.pass(minutes{5});
  for (int minute = 0; minute < 4; ++minute) {
    const bool rang = std::any_of(night.sent_at.begin(), night.sent_at.end(), [&](Timestamp at) { return at >= Timestamp{} + minutes{minute} && at < Timestamp{} + minutes{minute + 1} + seconds{10}; });
    EXPECT_TRUE(rang) << minute;
  }
  night.acknowledge(failed);
  const std::size_t so_far = night.sent.size();
  night.pass(minutes{60});
  EXPECT_EQ(night.sent.size(), so_far);
}

TEST(Courier, OfTheHighestARefusingRouteNeedsNoOtherBecauseAllWereTried) {
  Night night;
  night.off = Off::failed;
  night.failing = {"mail"};
  night.raise(night.fact(1, Priority::highest));
  night.pass(seconds{30});
  EXPECT_EQ(night.told(), "alarm>Ada/mail alarm>Ada/ring ");
}

TEST(Courier, TriesTheFirstRouteAgainWhenItHasRested) {
  Night night;
  night.failing = {"mail"};
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{1});
  night.failing.clear();
  night.pass(minutes{15});
  EXPECT_EQ(night.told(), "alarm>Ada/mail alarm>Ada/ring repeat>Ada/mail ");
}

TEST(Courier, GivesASecondPersonsRefusedWordToTheirNextRoute) {
  Night night;
  alarm::Incidents& incidents = night.incidents;
  Courier courier("mark", {{"Ada", {"mail"}}, {"Ben", {"mail_ben", "ring_ben"}}}, {}, [&](const alarm::Incident& incident) { return night.situation(incident); });
  incidents.take(night.fact(1, Priority::high));
  std::string told;
  for (Timestamp now{}; now < Timestamp{} + minutes{31}; now += seconds{1})
    for (const Message& message : courier.step(incidents.all(), now, [](std::int64_t) { return std::string{}; })) {
      told += std::string(to_word(message.purpose)) + ">" + message.route + " ";
      courier.delivered({message.id, message.route, 1, message.route != "mail_ben", false, ""}, now);
    }
  EXPECT_NE(told.find("escalation>mail_ben"), std::string::npos) << told;
  EXPECT_NE(told.find("escalation>ring_ben"), std::string::npos) << told;
}

TEST(Courier, WithoutAnybodyToTellSaysNothing) {
  Night night;
  Courier courier("mark", {}, {}, [&](const alarm::Incident& incident) { return night.situation(incident); });
  night.raise(night.fact(1, Priority::highest));
  EXPECT_TRUE(courier.step(night.incidents.all(), night.now, [](std::int64_t) { return std::string{}; }).empty());
}

// ---- once, and again only for a reason -------------------------------------------------------------------------

TEST(Courier, SaysWorseOnlyWhenThePriorityRises) {
  Night night;
  night.raise(night.fact(1, Priority::medium));
  night.pass(minutes{1});
  night.raise(night.fact(2, Priority::medium));
  night.raise(night.fact(3, Priority::low));
  night.pass(minutes{10});
  EXPECT_EQ(night.told(), "alarm>Ada/mail ");
  night.raise(night.fact(4, Priority::high));
  night.pass(minutes{1});
  EXPECT_EQ(night.told(), "alarm>Ada/mail changed>Ada/mail ");
}

TEST(Courier, CountsThePatienceForTheSecondPersonFromWhenItBecameLoud) {
  Night night;
  night.raise(night.fact(1, Priority::medium));
  night.pass(minutes{300});
  night.raise(night.fact(2, Priority::high));
  night.pass(minutes{29});
  EXPECT_EQ(night.told().find("Ben"), std::string::npos) << night.told();
}

TEST(Courier, SaysNothingOfSmallThingsThatComeAfterItWasSeen) {
  Night night;
  const Fact trip = night.fact(1, Priority::high);
  night.raise(trip);
  night.pass(minutes{1});
  night.acknowledge(trip);
  night.raise(night.fact(2, Priority::low));
  night.raise(night.fact(3, Priority::medium));
  night.pass(minutes{120});
  EXPECT_EQ(night.told(), "alarm>Ada/mail ");
}

TEST(Courier, SaysWhatIsLoudAndNewAfterItWasSeenAndBeginsWithTheFirstPerson) {
  Night night;
  const Fact trip = night.fact(1, Priority::high);
  night.raise(trip);
  night.pass(minutes{31});
  night.acknowledge(trip);
  night.pass(minutes{100});
  night.sent.clear();
  night.raise(night.fact(2, Priority::high));
  night.pass(minutes{14});
  EXPECT_EQ(night.told(), "changed>Ada/mail ");
}

TEST(Courier, SaysNothingOfWhatWasSeenBeforeAnybodyWasTold) {
  Night night;
  night.off = Off::waiting;
  const Fact trip = night.fact(1, Priority::high);
  night.raise(trip);
  night.pass(seconds{2});
  night.acknowledge(trip);
  night.pass(minutes{60});
  EXPECT_EQ(night.told(), "");
}

TEST(Courier, SaysThatItIsOverSilently) {
  Night night;
  Fact trip = night.fact(1, Priority::high);
  night.raise(trip);
  night.pass(minutes{1});
  trip.is_condition_true = false;
  night.acknowledge(trip);
  night.pass(minutes{1});
  ASSERT_EQ(night.told(), "alarm>Ada/mail over>Ada/mail ");
  EXPECT_EQ(night.sent[1].priority, Priority::medium);
}

TEST(Courier, DoesNotSwingWithAnAdviceThatSwings) {
  Night night;
  night.off = Off::failed;
  night.raise(night.fact(1, Priority::high));
  night.pass(seconds{10});
  night.sent.clear();
  for (int i = 0; i < 100; ++i) {
    night.off = i % 2 == 0 ? Off::proven : Off::failed;
    night.pass(seconds{1});
  }
  EXPECT_EQ(night.told(), "");
}

TEST(Courier, OfSmokeWaitsForNoProof) {
  Night night;
  night.off = Off::waiting;
  night.is_smoke = true;
  night.raise(night.fact(1, Priority::highest));
  night.step();
  ASSERT_FALSE(night.sent.empty());
  EXPECT_EQ(night.sent[0].advice, Advice::come);
}

// ---- many at once ----------------------------------------------------------------------------------------------

TEST(Courier, TellsUnitsOfABenchThatTripTogetherInOneMessageThatNamesEach) {
  Night night;
  for (int i = 1; i <= 14; ++i) night.raise(night.fact(i, Priority::high, "unit " + std::to_string(i) + "."));
  night.pass(minutes{9});
  ASSERT_EQ(night.told(), "alarm>Ada/mail ");
  for (int i = 1; i <= 14; ++i) {
    EXPECT_NE(night.sent[0].text.find("unit " + std::to_string(i) + "., bench 1: OFF, proven"), std::string::npos) << night.sent[0].text;
    EXPECT_NE(night.sent[0].text.find("incident=" + std::to_string(i) + "\n"), std::string::npos) << "each can be answered";
  }
  EXPECT_EQ(night.sent[0].subject, "SLEEP: bench 1, 14 units at once: all OFF, proven");
}

TEST(Courier, WaitsForThoseThatAreAboutToBeProvenButNotLongerThanTenSeconds) {
  Night night;
  night.off_of["slow"] = Off::waiting;
  night.raise(night.fact(1, Priority::high, "quick"));
  night.raise(night.fact(2, Priority::high, "slow"));
  night.pass(seconds{3});
  EXPECT_EQ(night.told(), "");
  night.off_of["slow"] = Off::proven;
  night.pass(seconds{1});
  ASSERT_EQ(night.told(), "alarm>Ada/mail ");
  EXPECT_NE(night.sent[0].text.find("slow"), std::string::npos);

  Night stuck;
  for (int i = 0; i < 12; ++i) {
    stuck.off_of["unit " + std::to_string(i)] = i == 0 ? Off::proven : Off::waiting;
    stuck.raise(stuck.fact(i + 1, Priority::high, "unit " + std::to_string(i)));
    stuck.pass(seconds{1});
  }
  EXPECT_FALSE(stuck.sent.empty()) << "others that trip one after the other do not hold back the first for ever";
  EXPECT_LE(stuck.sent_at[0], Timestamp{} + Courier::group_within + seconds{1});
}

TEST(Courier, LetsOneThatFollowsInSecondsWaitForTheNextMessageOfItsBench) {
  Night night;
  night.raise(night.fact(1, Priority::high, "first"));
  night.pass(seconds{2});
  night.raise(night.fact(2, Priority::high, "second"));
  night.raise(night.fact(3, Priority::high, "third"));
  night.pass(seconds{4});
  EXPECT_EQ(night.told(), "alarm>Ada/mail ");
  night.pass(seconds{6});
  ASSERT_EQ(night.told(), "alarm>Ada/mail alarm>Ada/mail ");
  EXPECT_NE(night.sent[1].text.find("second"), std::string::npos);
  EXPECT_NE(night.sent[1].text.find("third"), std::string::npos);
}

TEST(Courier, DoesNotMixBenchesNorWhatIsSilentWithWhatIsLoud) {
  Night night;
  Fact other = night.fact(1, Priority::high, "elsewhere");
  other.bench = "bench 2";
  night.raise(other);
  night.raise(night.fact(2, Priority::high, "here"));
  night.raise(night.fact(3, Priority::medium, "silent"));
  night.pass(seconds{20});
  EXPECT_EQ(night.sent.size(), 3u);
}

TEST(Courier, RepeatsTogetherWhatItToldTogetherAndLeavesOutWhatWasSeen) {
  Night night;
  std::vector<Fact> trips;
  for (int i = 1; i <= 3; ++i) trips.push_back(night.fact(i, Priority::high, "unit " + std::to_string(i))), night.raise(trips.back());
  night.pass(minutes{1});
  night.acknowledge(trips[1]);
  night.pass(minutes{15});
  ASSERT_EQ(night.told(), "alarm>Ada/mail repeat>Ada/mail ");
  EXPECT_EQ(night.sent[1].text.find("unit 2"), std::string::npos);
  EXPECT_NE(night.sent[1].text.find("unit 3"), std::string::npos);
}

TEST(Courier, NeverSendsMoreThanTenInTenMinutesButForTheHighest) {
  Night night;
  for (int i = 1; i <= 30; ++i) {
    Fact one = night.fact(i, Priority::high, "unit " + std::to_string(i));
    one.bench = "bench " + std::to_string(i);
    night.raise(one);
  }
  night.pass(minutes{9});
  EXPECT_EQ(night.sent.size(), Courier::flood_messages);
  night.off_of["unit 99"] = Off::failed;
  night.raise(night.fact(99, Priority::highest, "unit 99"));
  night.pass(seconds{7});
  EXPECT_EQ(night.sent.back().priority, Priority::highest) << "a new one of the highest gets through";
  night.pass(minutes{35});
  std::set<std::int64_t> incidents;
  for (const Message& message : night.sent) incidents.insert(message.incident);
  EXPECT_EQ(incidents.size(), 31u) << "nobody is forgotten";
}

TEST(Courier, ADeadBusOverThreeUnitsIsOneMessage) {
  Night night;
  night.off = Off::on;
  for (int i = 1; i <= 3; ++i) {
    Fact silent = night.fact(i, Priority::medium, "unit " + std::to_string(i));
    silent.cause = Cause::bus;
    silent.cause_name = "line";
    night.raise(silent);
  }
  night.pass(minutes{5});
  ASSERT_EQ(night.told(), "alarm>Ada/mail ");
  EXPECT_EQ(night.sent[0].subject, "SLEEP: bus line, 3 units: still ON");
}

// ---- never wake for ---------------------------------------------------------------------------------------------
// The habits of the trade: compensated mains steps, the first hours' climb inside absolute limits, informative channels,
// and what is already safe and leaves no choice. These come as low or medium; none may be loud, however many, however long.

TEST(Courier, NeverWakesForWhatTheTradeSleepsThrough) {
  struct Habit {
    const char* kind;
    const char* message;
    Priority priority;
    Cause cause;
    Off off;
    bool is_silent_word;  ///< told, without waking
  };
  for (const Habit& habit : {Habit{"mains", "mains 230 V to 237 V; everything follows it", Priority::low, Cause::mains, Off::on, false},
                             Habit{"drift", "heatsink climbs, first three hours", Priority::low, Cause::unit, Off::on, false},
                             Habit{"drift", "tape speed 2985 Hz", Priority::low, Cause::unit, Off::on, false},
                             Habit{"no_data", "the last protective point was blind; switched off after 60 s", Priority::medium, Cause::unit, Off::proven, true},
                             Habit{"forecast", "the limit would be reached at 05:10; switched off as planned", Priority::medium, Cause::unit, Off::proven, true},
                             Habit{"stuck", "tape off or stuck; the deck was switched off", Priority::medium, Cause::unit, Off::proven, true}}) {
    Night night;
    night.off = habit.off;
    for (int i = 1; i <= 5; ++i) {
      Fact fact = night.fact(i, habit.priority);
      fact.kind = habit.kind;
      fact.message = habit.message;
      fact.cause = habit.cause;
      night.raise(fact);
      night.pass(minutes{60});
    }
    EXPECT_EQ(night.sent.size(), habit.is_silent_word ? 1u : 0u) << habit.message;
    for (const Message& message : night.sent) {
      EXPECT_EQ(message.priority, Priority::medium) << habit.message;
      EXPECT_EQ(message.advice, Advice::sleep) << habit.message;
    }
  }
}

TEST(Courier, IsSilentOfABlindCutAndLoudWhenThatCutFails) {
  Night night;
  night.raise(night.fact(1, Priority::medium));
  night.pass(minutes{1});
  EXPECT_EQ(night.sent[0].priority, Priority::medium);
  night.off = Off::failed;
  night.raise(night.fact(2, Priority::highest));
  night.pass(seconds{10});
  EXPECT_EQ(night.sent.back().priority, Priority::highest);
  EXPECT_EQ(night.sent.back().advice, Advice::come);
}

// ---- after a restart --------------------------------------------------------------------------------------------

/// The same night in a daemon that has just started: the journal gives back what was told and which alarm belongs where.
void carry_over(const Night& before, Night& after, std::vector<ToldBefore> told) {
  after.courier.restore(told);
  after.off = before.off;
  for (const alarm::Incident& incident : before.incidents.all())
    for (const Fact& fact : incident.facts) after.incidents.restore(fact.id, incident.id);
  for (const alarm::Incident& incident : before.incidents.all())
    for (const Fact& fact : incident.facts) after.raise(fact);
}

TEST(Courier, AfterARestartSaysNothingTwice) {
  Night before;
  before.raise(before.fact(1, Priority::high));
  before.pass(minutes{1});
  Night after;
  after.now = Timestamp{} + minutes{500};
  carry_over(before, after, before.courier.told());
  after.pass(minutes{14});
  EXPECT_EQ(after.told(), "");
  after.pass(minutes{2});
  EXPECT_EQ(after.told(), "repeat>Ada/mail ") << "and it is not forgotten";
}

TEST(Courier, AfterARestartSaysAgainWhatNobodyTook) {
  Night before;
  before.is_daemon_lost = true;
  before.raise(before.fact(1, Priority::high));
  before.pass(seconds{5});
  ASSERT_EQ(before.told(), "alarm>Ada/mail ");
  Night after;
  carry_over(before, after, before.courier.told());
  after.pass(minutes{1});
  EXPECT_EQ(after.told(), "alarm>Ada/mail ");
  EXPECT_NE(after.sent[0].id, before.sent[0].id);
}

TEST(Courier, AfterARestartTheSecondPersonGetsTheirLostWordAndTheFirstNothing) {
  Night before;
  before.raise(before.fact(1, Priority::high));
  before.pass(minutes{29});
  before.is_daemon_lost = true;
  before.pass(seconds{65});
  std::vector<ToldBefore> told = before.courier.told();
  std::erase_if(told, [](const ToldBefore& one) { return one.purpose == Purpose::repeat && !one.is_delivered; });
  ASSERT_EQ(told.back().person, "Ben");
  Night after;
  carry_over(before, after, told);
  after.pass(minutes{1});
  EXPECT_EQ(after.told(), "escalation>Ben/mail_ben ");
}

TEST(Courier, AfterARestartKnowsEveryIncidentOfAMessageThatToldOfSeveral) {
  Night before;
  for (int i = 1; i <= 3; ++i) before.raise(before.fact(i, Priority::high, "unit " + std::to_string(i)));
  before.pass(seconds{5});
  ASSERT_EQ(before.told(), "alarm>Ada/mail ");
  // The journal keeps one row for a message: what else it told of stands in its id.
  std::vector<ToldBefore> rows = before.courier.told();
  ASSERT_EQ(rows.size(), 3u);
  rows.resize(1);
  for (const auto& told : {rows, before.courier.told()}) {
    Night after;
    carry_over(before, after, told);
    after.pass(minutes{10});
    EXPECT_EQ(after.told(), "");
    EXPECT_EQ(after.courier.told().size(), 3u);
  }
}

TEST(Courier, AfterARestartOneRouteOfSeveralIsEnough) {
  Night before;
  before.off = Off::failed;
  before.raise(before.fact(1, Priority::highest));
  before.pass(seconds{8});
  std::vector<ToldBefore> told = before.courier.told();
  ASSERT_EQ(told.size(), 2u);
  told[1].is_delivered = false;
  Night after;
  carry_over(before, after, told);
  after.pass(seconds{30});
  EXPECT_EQ(after.told(), "");
}

TEST(Courier, AfterARestartDoesNotSayWhatWasSeenMeanwhile) {
  Night before;
  before.is_daemon_lost = true;
  const Fact trip = before.fact(1, Priority::high);
  before.raise(trip);
  before.pass(seconds{5});
  before.acknowledge(trip);
  Night after;
  carry_over(before, after, before.courier.told());
  after.pass(minutes{60});
  EXPECT_EQ(after.told(), "");
}

TEST(Courier, GivesAMessageANumberThatWasNeverGiven) {
  Night before;
  before.raise(before.fact(1, Priority::high));
  before.pass(minutes{20});
  Night after;
  carry_over(before, after, before.courier.told());
  after.raise(after.fact(9, Priority::high, "another"));
  after.pass(minutes{20});
  std::set<std::string> ids;
  for (const Message& message : before.sent) EXPECT_TRUE(ids.insert(message.id).second);
  for (const Message& message : after.sent) EXPECT_TRUE(ids.insert(message.id).second) << message.id;
}

TEST(Courier, ATestGoesToEachRouteOfEachPerson) {
  Night night;
  const auto messages = night.courier.test("Ada", "2026-01-01T02:43:28Z");
  ASSERT_EQ(messages.size(), 3u);
  for (const Message& message : messages) EXPECT_EQ(message.purpose, Purpose::test);
}

}  // namespace
}  // namespace steadyglow::notify
