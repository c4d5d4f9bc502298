/// Who is told what, when and how loudly.
#include "notify/courier.hpp"

#include <gtest/gtest.h>

#include <random>
#include <set>

namespace steadyglow::notify {
namespace {

using alarm::Cause;
using alarm::Fact;
using alarm::Priority;
using alarm::State;
using std::chrono::minutes;
using std::chrono::seconds;

/// A bench with one unit, persons Ada and Ben, and a courier; time is what the test says.
class Night {
 public:
  Night() : courier("mark", {{"Ada", {"mail", "ring"}}, {"Ben", {"mail_ben"}}}, {}, [this](const alarm::Incident& incident) { return situation(incident); }) {}

  Situation situation(const alarm::Incident& incident) {
    Situation here;
    here.clock = "02:43:28";
    here.utc = "2026-01-01T02:43:28Z";
    for (const std::string& unit : incident.units()) {
      UnitSituation one;
      one.name = unit;
      one.title = unit;
      one.bench = "bench 1";
      one.off = off;
      here.units.push_back(one);
    }
    return here;
  }
  Fact fact(std::int64_t id, Priority priority, const std::string& unit = "Brindlecombe 35") {
    Fact fact;
    fact.id = id;
    fact.unit = unit;
    fact.bench = "bench 1";
    fact.kind = "limit";
    fact.priority = priority;
    fact.state = State::unacknowledged;
    fact.is_condition_true = true;
    fact.message = "V3 stands at 560 mV";
    fact.at = now;
    return fact;
  }
  std::int64_t raise(const Fact& fact) { return incidents.take(fact); }
  void acknowledge(Fact fact) {
    fact.state = fact.is_condition_true ? State::acknowledged : State::normal;
    fact.who = "Ada";
    fact.at = now;
    incidents.take(fact);
  }
  /// Lets time pass in steps of a second; what goes out is delivered at once unless the route fails.
  void pass(Duration time) {
    const Timestamp until = now + time;
    for (; now <= until; now += seconds{1}) {
      for (Message& message : courier.step(incidents.all(), now, [](std::int64_t id) { return "http://bench/answer?incident=" + std::to_string(id); })) {
        const bool fails = failing.contains(message.route);
        courier.delivered({message.id, message.route, 1, !fails, false, fails ? "refused" : ""}, now);
        sent_at.push_back(now);
        sent.push_back(std::move(message));
      }
    }
  }
  std::string told() const {
    std::string text;
    for (const Message& message : sent) text += std::string(to_word(message.purpose)) + ">" + message.person + "/" + message.route + " ";
    return text;
  }

  Off off = Off::proven;
  std::set<std::string> failing;
  alarm::Incidents incidents;
  Courier courier;
  Timestamp now{};
  std::vector<Message> sent;
  std::vector<Timestamp> sent_at;
};

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
  EXPECT_EQ(night.told(), "alarm>Ada/mail repeat>Ada/ring ");
}

TEST(Courier, DoesNotDrownInRefusalsWhenNoRouteWorks) {
  Night night;
  night.failing = {"mail", "ring", "mail_ben"};
  night.raise(night.fact(1, Priority::high));
  night.pass(minutes{10});
  EXPECT_LE(night.sent.size(), 3u);
}

TEST(Courier, TellsEachUnitsTripWhenEverythingTripsAtOnceAndStaysBelowTenInTenMinutes) {
  Night night;
  for (int i = 1; i <= 14; ++i) night.raise(night.fact(i, Priority::high, "unit " + std::to_string(i)));
  night.pass(minutes{9});
  EXPECT_EQ(night.sent.size(), 10u);
  night.raise(night.fact(99, Priority::highest, "unit 99"));
  night.pass(seconds{5});
  EXPECT_EQ(night.sent.back().priority, Priority::highest) << "a new one of the highest gets through";
  night.pass(minutes{20});
  std::set<std::int64_t> incidents;
  for (const Message& message : night.sent) incidents.insert(message.incident);
  EXPECT_EQ(incidents.size(), 15u) << "nobody is forgotten";
}

TEST(Courier, AfterARestartSaysNothingTwiceAndForgetsNothing) {
  Night before;
  const auto first = before.raise(before.fact(1, Priority::high));
  before.pass(minutes{1});
  std::vector<ToldBefore> told = before.courier.told();
  ASSERT_EQ(told.size(), 1u);

  Night after;
  after.courier.restore(told);
  after.incidents.restore(1, first);
  after.raise(after.fact(1, Priority::high));
  after.pass(minutes{1});
  EXPECT_EQ(after.told().find("alarm>"), std::string::npos) << after.told();

  told[0].is_delivered = false;
  Night undelivered;
  undelivered.courier.restore(told);
  undelivered.incidents.restore(1, first);
  undelivered.raise(undelivered.fact(1, Priority::high));
  undelivered.pass(minutes{1});
  EXPECT_NE(undelivered.told().find("alarm>Ada/mail"), std::string::npos) << undelivered.told();
  EXPECT_NE(undelivered.sent[0].id, told[0].id);
}

TEST(Courier, OverManyRandomNightsKeepsItsPromises) {
  std::mt19937 chance(7);
  for (int round = 0; round < 60; ++round) {
    Night night;
    std::vector<Fact> facts;
    std::map<std::int64_t, Timestamp> seen_at;
    for (int step = 0; step < 60; ++step) {
      const int what = static_cast<int>(chance() % 6);
      if (what <= 1) facts.push_back(night.fact(step + 1, static_cast<Priority>(chance() % 4), "unit " + std::to_string(chance() % 4))), night.raise(facts.back());
      if (what == 2 && !facts.empty()) {
        const Fact& fact = facts[chance() % facts.size()];
        night.acknowledge(fact);
      }
      if (what == 3) night.off = static_cast<Off>(chance() % 5);
      if (what == 4) night.failing = chance() % 2 == 0 ? std::set<std::string>{} : std::set<std::string>{"mail"};
      night.pass(seconds{static_cast<int>(chance() % 120)});
    }
    // Never more than ten in ten minutes but for the highest.
    for (std::size_t i = 0; i < night.sent.size(); ++i) {
      std::size_t within = 0;
      for (std::size_t j = i; j < night.sent.size() && night.sent_at[j] - night.sent_at[i] < Courier::flood_period; ++j) within += night.sent[j].priority != Priority::highest ? 1 : 0;
      ASSERT_LE(within, Courier::flood_messages + 2) << "round " << round;
    }
    // Nobody is woken for what can wait.
    for (const Message& message : night.sent) ASSERT_NE(message.priority, Priority::low);
    // Whatever stands and waits for a person has been told.
    night.failing.clear();
    night.pass(minutes{40});
    for (const alarm::Incident& incident : night.incidents.all()) {
      if (incident.priority < Priority::high || !incident.needs_person) continue;
      const bool is_told = std::any_of(night.sent.begin(), night.sent.end(), [&](const Message& m) { return m.incident == incident.id; });
      ASSERT_TRUE(is_told) << "round " << round << ", incident " << incident.id << " of " << incident.facts[0].unit << " off " << static_cast<int>(night.off) << " opened " << ms_of(incident.opened_at) << " now " << ms_of(night.now) << " told " << night.told();
    }
    std::set<std::string> ids;
    for (const Message& message : night.sent) ASSERT_TRUE(ids.insert(message.id).second) << "an id is given once";
  }
}

// ---- words -----------------------------------------------------------------------------------------------------

Message written(const std::function<void(alarm::Incident&, Situation&)>& change) {
  alarm::Incident incident;
  incident.id = 3;
  incident.bench = "bench 1";
  incident.priority = Priority::high;
  Fact fact;
  fact.unit = "brindlecombe35";
  fact.kind = "runaway";
  fact.priority = Priority::high;
  fact.is_condition_true = true;
  fact.message = "v3_cathode_mv runs away: 380 mV to 560 mV in 3.4 min; its matched points stand still";
  incident.facts = {fact};
  Situation now;
  now.clock = "02:43:28";
  now.utc = "2026-01-01T01:43:28Z";
  UnitSituation unit;
  unit.title = "Brindlecombe 35";
  unit.bench = "bench 1";
  unit.off = Off::proven;
  unit.off_text = "off, proven: 0.02 A 1.1 s after the order";
  unit.bleed_text = "b_plus_v 31 V, below 50 V 84 s after the order; measure before you touch";
  unit.surroundings = "mains 230 V, room 15.2 °C";
  now.units = {unit};
  now.has_smoke_contact = true;
  now.is_smoke = false;
  change(incident, now);
  Message message;
  message.link = "http://bench/answer";
  write_words(message, incident, now);
  return message;
}

TEST(Words, StandInTheOrderInWhichAWokenPersonNeedsThem) {
  const Message message = written([](auto&, auto&) {});
  EXPECT_EQ(message.subject, "SLEEP: Brindlecombe 35, bench 1: OFF, proven");
  std::size_t at = 0;
  for (const char* part : {"02:43:28", "Brindlecombe 35", "OFF, proven", "0.02 A", "What: v3_cathode_mv runs away", "Around: mains 230 V", "Meters: no doubt", "Still charged: b_plus_v 31 V", "Smoke: no", "SLEEP.", "Do not switch it on again", "http://bench/answer"}) {
    const std::size_t found = message.text.find(part, at);
    ASSERT_NE(found, std::string::npos) << part << " after " << at << " in\n" << message.text;
    at = found;
  }
}

TEST(Words, OfALineHaveAtMost78Characters) {
  const Message message = written([](auto& incident, auto&) { incident.facts[0].message += std::string(" and so on") + std::string(" for a long time", 17); });
  std::size_t begin = 0;
  for (std::size_t end = message.text.find('\n'); end != std::string::npos; begin = end + 1, end = message.text.find('\n', begin)) EXPECT_LE(end - begin, 78u + 3u) << message.text.substr(begin, end - begin);
}

TEST(Words, OfSmokeCallTheFireServiceFirst) {
  const Message message = written([](auto& incident, auto& now) {
    now.is_smoke = true;
    incident.priority = Priority::highest;
  });
  EXPECT_EQ(message.advice, Advice::come);
  EXPECT_NE(message.text.find("call the fire service first"), std::string::npos);
  EXPECT_NE(message.subject.find("SMOKE OR HEAT"), std::string::npos);
}

TEST(Words, OfARelayThatDoesNotObeyCallThePersonIn) {
  const Message message = written([](auto&, auto& now) { now.units[0].off = Off::failed; });
  EXPECT_EQ(message.advice, Advice::come);
  EXPECT_NE(message.text.find("if it is safe to do so"), std::string::npos);
}

TEST(Words, WithoutAProofDoNotSaySleep) {
  for (const Off off : {Off::waiting, Off::unprovable}) EXPECT_EQ(written([&](auto&, auto& now) { now.units[0].off = off; }).advice, Advice::look);
}

TEST(Words, NameTheMetersThatAreNotToBeBelieved) {
  const Message message = written([](auto&, auto& now) { now.units[0].doubts = {"v1_cathode_mv (contact_lost)"}; });
  EXPECT_NE(message.text.find("Meters: v1_cathode_mv (contact_lost)"), std::string::npos);
}

}  // namespace
}  // namespace steadyglow::notify
