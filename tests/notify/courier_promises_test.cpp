/// What the courier promises, over random nights: whatever happens in whatever order.
#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "notify/night.hpp"

namespace steadyglow::notify {
namespace {

using std::chrono::minutes;
using std::chrono::seconds;

class RandomNight : public Night {
 public:
  explicit RandomNight(unsigned seed) : chance_(seed) {}

  /// Somebody, something or nothing does something; then time passes.
  void turn() {
    switch (pick(9)) {
      case 0:
      case 1: {
        Fact fact = this->fact(next_alarm_++, static_cast<Priority>(pick(4)), "unit " + std::to_string(pick(5)));
        fact.bench = "bench " + fact.unit.substr(5, 1);
        facts_.push_back(fact);
        raise(fact);
        break;
      }
      case 2:
        if (!facts_.empty()) acknowledge_one(pick(facts_.size()));
        break;
      case 3:
        if (!facts_.empty()) end_one(pick(facts_.size()));
        break;
      case 4: off = static_cast<Off>(pick(5)); break;
      case 5: off_of["unit " + std::to_string(pick(5))] = static_cast<Off>(pick(5)); break;
      case 6: failing = pick(2) == 0 ? std::set<std::string>{} : std::set<std::string>{"mail"}; break;
      case 7: is_smoke = pick(10) == 0 ? std::optional(true) : pick(10) == 0 ? std::nullopt : std::optional(false); break;
      default: break;
    }
    pass(seconds{static_cast<int>(pick(90))});
  }
  /// Everybody sees everything.
  void acknowledge_all() {
    for (std::size_t i = 0; i < facts_.size(); ++i) acknowledge_one(i);
  }
  std::size_t pick(std::size_t below) { return chance_() % below; }

 private:
  void acknowledge_one(std::size_t index) {
    acknowledge(facts_[index]);
    facts_[index].state = facts_[index].is_condition_true ? State::acknowledged : State::normal;
  }
  void end_one(std::size_t index) {
    Fact& fact = facts_[index];
    if (!fact.is_condition_true) return;
    fact.is_condition_true = false;
    fact.state = alarm::needs_person(fact.state) ? State::latched_unacknowledged : State::normal;
    fact.at = now;
    raise(fact);
  }

  std::mt19937 chance_;
  std::vector<Fact> facts_;
  std::int64_t next_alarm_ = 1;
};

constexpr unsigned nights = 60;
constexpr int turns = 60;

template <class Check>
void over_many_nights(Check check) {
  for (unsigned seed = 1; seed <= nights; ++seed) {
    RandomNight night(seed);
    check(night);
    if (::testing::Test::HasFatalFailure()) FAIL() << "night " << seed << ": " << night.told();
  }
}

/// The facts of an incident as they stand, for what a message of it may say.
bool waits(const alarm::Incident& incident, Priority least) { return incident.needs_person && incident.waiting_priority() >= least; }

TEST(CourierPromises, NeverMoreThanTenInTenMinutesButForTheHighest) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns; ++i) night.turn();
    for (std::size_t i = 0; i < night.sent.size(); ++i) {
      std::size_t within = 0;
      for (std::size_t j = i; j < night.sent.size() && night.sent_at[j] - night.sent_at[i] <= Courier::flood_period; ++j) within += night.sent[j].priority != Priority::highest ? 1 : 0;
      ASSERT_LE(within, Courier::flood_messages);
    }
  });
}

TEST(CourierPromises, NothingLoudAfterItWasSeen) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns; ++i) {
      night.turn();
      if (night.pick(5) != 0) continue;
      night.acknowledge_all();
      const std::size_t before = night.sent.size();
      night.off = static_cast<Off>(night.pick(5));
      night.pass(minutes{40});
      for (std::size_t j = before; j < night.sent.size(); ++j) ASSERT_EQ(night.sent[j].purpose, Purpose::over) << night.sent[j].id;
    }
  });
}

TEST(CourierPromises, EveryLoudOneThatWaitsForAPersonIsTold) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns; ++i) night.turn();
    night.failing.clear();
    night.pass(minutes{40});
    for (const alarm::Incident& incident : night.incidents.all()) {
      if (!waits(incident, Priority::high)) continue;
      const auto& told = night.courier.told();
      ASSERT_TRUE(std::any_of(told.begin(), told.end(), [&](const ToldBefore& one) { return one.incident == incident.id && one.is_delivered; })) << incident.id;
    }
  });
}

TEST(CourierPromises, ANewHighestIsToldWithinTheWaitForItsProofWhateverElseGoesOn) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns; ++i) night.turn();
    night.failing.clear();
    night.off_of["fresh"] = Off::failed;
    const auto id = night.raise(night.fact(100'000, Priority::highest, "fresh"));
    night.pass(seconds{7});
    const auto& told = night.courier.told();
    ASSERT_TRUE(std::any_of(told.begin(), told.end(), [&](const ToldBefore& one) { return one.incident == id && one.is_delivered; }));
  });
}

TEST(CourierPromises, NobodyIsEverToldOfWhatIsLow) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns; ++i) night.turn();
    for (const Message& message : night.sent) ASSERT_NE(message.priority, Priority::low);
    for (const ToldBefore& told : night.courier.told()) {
      const alarm::Incident* incident = night.incidents.find(told.incident);
      ASSERT_TRUE(incident == nullptr || incident->priority > Priority::low);
    }
  });
}

TEST(CourierPromises, AnIdIsGivenOnceAndOverIsSaidOnlyAfterADelivery) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns; ++i) night.turn();
    std::set<std::string> ids;
    std::set<std::int64_t> delivered;
    for (const Message& message : night.sent) ASSERT_TRUE(ids.insert(message.id).second) << message.id;
    for (const ToldBefore& told : night.courier.told()) {
      ASSERT_TRUE(told.purpose != Purpose::over || delivered.contains(told.incident)) << told.id;
      if (told.is_delivered) delivered.insert(told.incident);
    }
  });
}

TEST(CourierPromises, ARestartInTheMiddleSaysNothingTwiceAndLosesNothing) {
  over_many_nights([](RandomNight& night) {
    for (int i = 0; i < turns / 2; ++i) night.turn();
    night.is_daemon_lost = true;
    for (int i = 0; i < 3; ++i) night.turn();
    Night after;
    after.now = night.now;
    after.off = Off::proven;
    after.courier.restore(night.courier.told());
    for (const alarm::Incident& incident : night.incidents.all())
      for (const Fact& fact : incident.facts) after.incidents.restore(fact.id, incident.id);
    for (const alarm::Incident& incident : night.incidents.all())
      for (const Fact& fact : incident.facts) after.raise(fact);
    after.pass(seconds{50});
    std::set<std::int64_t> delivered;
    for (const ToldBefore& told : night.courier.told())
      if (told.is_delivered) delivered.insert(told.incident);
    for (const Message& message : after.sent) ASSERT_FALSE(message.purpose == Purpose::alarm && delivered.contains(message.incident)) << message.id;
    after.pass(minutes{40});
    for (const alarm::Incident& incident : night.incidents.all()) {
      const auto& told = after.courier.told();
      ASSERT_TRUE(!waits(incident, Priority::high) || std::any_of(told.begin(), told.end(), [&](const ToldBefore& one) { return one.incident == incident.id && one.is_delivered; })) << incident.id;
    }
  });
}

TEST(CourierPromises, TheSameNightSaysTheSame) {
  RandomNight one(5), two(5);
  for (int i = 0; i < turns; ++i) one.turn(), two.turn();
  EXPECT_EQ(one.told(), two.told());
}

}  // namespace
}  // namespace steadyglow::notify
