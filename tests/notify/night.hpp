#pragma once
/// A bench, two persons and a courier; time is what the test says.
#include <cstdio>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "notify/courier.hpp"

namespace steadyglow::notify {

using alarm::Fact;
using alarm::Priority;
using alarm::State;

/// Persons Ada (mail, ring) and Ben (mail_ben). Each word of a moment carries that moment as its label.
class Night {
 public:
  explicit Night(CourierTiming timing = {})
      : courier("mark", {{"Ada", {"mail", "ring"}}, {"Ben", {"mail_ben"}}}, timing, [this](const alarm::Incident& incident) { return situation(incident); }) {}

  Situation situation(const alarm::Incident& incident) {
    Situation here;
    here.clock = "02:43:28";
    here.utc = std::to_string(ms_of(now));
    here.has_smoke_contact = true;
    here.is_smoke = is_smoke;
    for (const std::string& unit : incident.units()) {
      UnitSituation one;
      one.name = unit;
      one.title = unit;
      one.bench = "bench 1";
      const auto own = off_of.find(unit);
      one.off = own == off_of.end() ? off : own->second;
      here.units.push_back(one);
    }
    return here;
  }
  Fact fact(std::int64_t id, Priority priority, const std::string& unit = "Brindlecombe 35") const {
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
  void end(Fact fact, State state = State::latched_unacknowledged) {
    fact.state = state;
    fact.is_condition_true = false;
    fact.at = now;
    incidents.take(fact);
  }
  /// One step of the courier; what goes out is taken at once unless the route fails.
  void step() {
    for (Message& message : courier.step(incidents.all(), now, [](std::int64_t id) { return "http://bench/answer?incident=" + std::to_string(id); })) {
      const bool fails = failing.contains(message.route);
      if (!is_daemon_lost) courier.delivered({message.id, message.route, 1, !fails, false, fails ? "refused" : ""}, now);
      sent_at.push_back(now);
      sent.push_back(std::move(message));
    }
  }
  /// Lets time pass in steps of a second.
  void pass(Duration time) {
    const Timestamp until = now + time;
    for (; now <= until; now += std::chrono::seconds{1}) step();
  }
  std::string told() const {
    std::string text;
    for (const Message& message : sent) text += std::string(to_word(message.purpose)) + ">" + message.person + "/" + message.route + " ";
    return text;
  }

  Off off = Off::proven;
  std::map<std::string, Off> off_of;  ///< of units that stand otherwise
  std::optional<bool> is_smoke = false;
  std::set<std::string> failing;
  bool is_daemon_lost = false;        ///< what is written is never heard of again
  alarm::Incidents incidents;
  Courier courier;
  Timestamp now{};
  std::vector<Message> sent;
  std::vector<Timestamp> sent_at;
};

}  // namespace steadyglow::notify
