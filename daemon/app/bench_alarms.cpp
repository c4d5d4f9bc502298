#include "app/bench_alarms.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

Json to_json(const alarm::Fact& fact) {
  return {{"id", fact.id},
          {"kind", fact.kind},
          {"cause", alarm::to_word(fact.cause)},
          {"cause_name", fact.cause_name},
          {"bench", fact.bench},
          {"priority", alarm::to_word(fact.priority)},
          {"state", alarm::to_word(fact.state)},
          {"is_condition_true", fact.is_condition_true},
          {"message", fact.message},
          {"who", fact.who},
          {"why", fact.why}};
}

template <class Enum>
Enum from_word(const std::string& word, std::uint8_t count) {
  for (std::uint8_t i = 0; i < count; ++i)
    if (alarm::to_word(static_cast<Enum>(i)) == word) return static_cast<Enum>(i);
  return Enum{};
}

}  // namespace

void BenchAlarms::step(Kept& kept, alarm::Action action, const std::string& who, const std::string& why, Timestamp at) {
  kept.alarm = alarm::step(kept.alarm, action, at);
  kept.fact.state = kept.alarm.state;
  kept.fact.is_condition_true = kept.alarm.is_condition_true;
  kept.fact.who = who;
  kept.fact.why = why;
  kept.fact.at = at;
  remember_(to_json(kept.fact).dump());
  told_(kept.fact);
}

void BenchAlarms::raise(const Raised& raised, Timestamp at) {
  const auto [found, is_new] = kept_.try_emplace(key_of(raised.kind, raised.cause_name));
  Kept& kept = found->second;
  if (!is_new && kept.alarm.is_condition_true && raised.priority <= kept.fact.priority) return;
  // Over and gone: the next one is another alarm, with a number of its own.
  if (is_new || kept.alarm.state == alarm::State::normal) {
    kept = Kept{};
    kept.fact.id = next_id_++;
  }
  kept.fact.kind = raised.kind;
  kept.fact.cause = raised.cause;
  kept.fact.cause_name = raised.cause_name;
  kept.fact.bench = raised.bench;
  kept.fact.priority = raised.priority;
  kept.fact.message = raised.message;
  kept.alarm.is_latching = raised.priority >= alarm::Priority::high;
  if (kept.alarm.is_condition_true) step(kept, alarm::Action::re_alarm, {}, "it has grown worse", at);
  else step(kept, alarm::Action::occur, {}, {}, at);
}

void BenchAlarms::clear(const std::string& kind, const std::string& cause_name, const std::string& message, Timestamp at) {
  const auto found = kept_.find(key_of(kind, cause_name));
  if (found == kept_.end() || !found->second.alarm.is_condition_true) return;
  step(found->second, alarm::Action::return_, {}, message, at);
  // A latched one that somebody has acknowledged needs no further word.
  if (found->second.alarm.state == alarm::State::latched_acknowledged) step(found->second, alarm::Action::reset, {}, message, at);
}

bool BenchAlarms::owns(std::int64_t id) const {
  return std::any_of(kept_.begin(), kept_.end(), [&](const auto& entry) { return entry.second.fact.id == id; });
}

bool BenchAlarms::acknowledge(std::int64_t id, const std::string& who, const std::string& why, Timestamp at) {
  const auto found = std::find_if(kept_.begin(), kept_.end(), [&](const auto& entry) { return entry.second.fact.id == id; });
  if (found == kept_.end() || !alarm::needs_person(found->second.alarm.state)) return false;
  step(found->second, alarm::Action::acknowledge, who, why, at);
  if (found->second.alarm.state == alarm::State::latched_acknowledged) step(found->second, alarm::Action::reset, who, why, at);
  return true;
}

void BenchAlarms::restore(const store::JournalRow& row) {
  if (row.kind != "bench_alarm") return;
  const auto json = nlohmann::json::parse(row.json, nullptr, false);
  if (!json.is_object()) return;
  const auto text = [&](const char* key) { return json.value(key, std::string{}); };
  Kept& kept = kept_[key_of(text("kind"), text("cause_name"))];
  alarm::Fact& fact = kept.fact;
  fact.id = json.value("id", std::int64_t{0});
  fact.kind = text("kind");
  fact.cause = from_word<alarm::Cause>(text("cause"), alarm::cause_count);
  fact.cause_name = text("cause_name");
  fact.bench = text("bench");
  fact.priority = from_word<alarm::Priority>(text("priority"), alarm::priority_count);
  fact.state = from_word<alarm::State>(text("state"), alarm::state_count);
  fact.message = text("message");
  fact.who = text("who");
  fact.why = text("why");
  kept.alarm.state = fact.state;
  kept.alarm.is_condition_true = json.value("is_condition_true", false);
  kept.alarm.is_latching = fact.priority >= alarm::Priority::high;
  fact.is_condition_true = kept.alarm.is_condition_true;
  next_id_ = std::max(next_id_, fact.id + 1);
}

void BenchAlarms::tell_restored(Timestamp now) {
  for (auto& [key, kept] : kept_) {
    if (kept.fact.state == alarm::State::normal) continue;
    kept.fact.at = now;
    told_(kept.fact);
  }
}

std::vector<alarm::Fact> BenchAlarms::facts() const {
  std::vector<alarm::Fact> facts;
  for (const auto& [key, kept] : kept_) facts.push_back(kept.fact);
  return facts;
}

}  // namespace steadyglow::app
