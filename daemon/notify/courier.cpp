#include "notify/courier.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <tuple>
#include <utility>

namespace steadyglow::notify {
namespace {

using alarm::Incident;
using alarm::Priority;

constexpr std::string_view id_word = "-incident-";

Duration minutes(double value) { return Duration{std::llround(value * 60000.0)}; }
Duration seconds(double value) { return Duration{std::llround(value * 1000.0)}; }

/// A message's id names what it tells of: mark-incident-3-4-17 is the 17th message, about the incidents 3 and 4.
std::vector<std::int64_t> numbers_in(const std::string& id) {
  std::vector<std::int64_t> numbers;
  const std::size_t found = id.find(id_word);
  if (found == std::string::npos) return numbers;
  const char* at = id.data() + found + id_word.size();
  const char* const end = id.data() + id.size();
  while (at < end) {
    std::int64_t number = 0;
    const auto [rest, error] = std::from_chars(at, end, number);
    if (error != std::errc{}) break;
    numbers.push_back(number);
    at = rest + 1;
  }
  return numbers;
}

std::vector<std::int64_t> incidents_in(const std::string& id) {
  std::vector<std::int64_t> incidents = numbers_in(id);
  if (!incidents.empty()) incidents.pop_back();
  return incidents;
}

/// What goes before what when there is not room for all: the loudest, then what is new to somebody.
int rank(Purpose purpose) {
  switch (purpose) {
    case Purpose::alarm: return 0;
    case Purpose::changed: return 1;
    case Purpose::escalation: return 2;
    case Purpose::repeat: return 3;
    default: return 4;
  }
}

/// What has to be done now, and nobody has answered.
bool is_ringing(const Incident& incident) {
  return std::any_of(incident.facts.begin(), incident.facts.end(), [](const alarm::Fact& fact) { return fact.priority == Priority::highest && fact.is_condition_true && alarm::needs_person(fact.state); });
}

std::string bench_key(const Incident& incident, Priority priority) { return incident.bench + '/' + std::string(to_word(priority)); }

}  // namespace

Courier::Courier(std::string mark, std::vector<PersonSettings> persons, CourierTiming timing, std::function<Situation(const Incident&)> situation)
    : mark_(std::move(mark)), persons_(std::move(persons)), timing_(timing), situation_(std::move(situation)) {}

const PersonSettings* Courier::find_person(const std::string& name) const {
  const auto found = std::find_if(persons_.begin(), persons_.end(), [&](const PersonSettings& person) { return person.name == name; });
  return found == persons_.end() ? nullptr : &*found;
}

void Courier::remember(ToldBefore told) {
  if (told_.size() == told_max) {
    tried_.erase(told_.front().id);
    told_.erase(told_.begin());
  }
  told_.push_back(std::move(told));
}

// ---- after a restart -------------------------------------------------------------------------------------------

void Courier::restore_one(const ToldBefore& told) {
  remember(told);
  const PersonSettings* person = find_person(told.person);
  if (told.incident == 0 || (person == nullptr && !told.is_delivered)) return;
  Case& state = cases_[told.incident];
  state.is_told = true;
  state.is_delivered = state.is_delivered || told.is_delivered;
  state.is_over_told = told.purpose == Purpose::over;
  if (told.purpose != Purpose::over) state.priority = std::max(state.priority, told.priority);
  if (person != nullptr) state.person = std::max(state.person, static_cast<std::size_t>(person - persons_.data()));
}

void Courier::restore(const std::vector<ToldBefore>& told) {
  for (const ToldBefore& one : told) {
    const std::size_t dash = one.id.rfind('-');
    if (dash != std::string::npos) next_message_ = std::max<std::uint64_t>(next_message_, std::strtoull(one.id.c_str() + dash + 1, nullptr, 10) + 1);
    const std::vector<std::int64_t> incidents = incidents_in(one.id);
    if (incidents.size() < 2) {
      restore_one(one);
      continue;
    }
    if (one.incident != incidents.front()) continue;  // the row of the first stands for all
    for (const std::int64_t incident : incidents) {
      ToldBefore row = one;
      row.incident = incident;
      restore_one(row);
    }
  }
  // The last word to each person that no route took has to be said again. Rows of one moment are one word by several routes.
  struct Last {
    const ToldBefore* owed = nullptr;
    std::string delivered_utc;
  };
  std::map<std::pair<std::int64_t, std::string>, Last> last;
  for (const ToldBefore& one : told_) {
    if (one.incident == 0) continue;
    Last& latest = last[{one.incident, one.person}];
    if (one.is_delivered) latest = {nullptr, one.utc};
    else if (one.utc != latest.delivered_utc) latest.owed = &one;
  }
  for (const auto& [key, latest] : last)
    if (latest.owed != nullptr && find_person(key.second) != nullptr) owed_.push_back({{key.first}, latest.owed->purpose, latest.owed->priority, key.second, {}});
}

// ---- what is due -----------------------------------------------------------------------------------------------

std::optional<Courier::Due> Courier::first_word(const Incident& incident, Case& state, Priority waiting, Timestamp now) {
  // The first word waits for the proof: "is it off" is the first thing that a woken person asks. Smoke waits for nothing.
  if (!state.waits_for_proof_since) state.waits_for_proof_since = now;
  const bool may_wait = now - *state.waits_for_proof_since < seconds(timing_.proof_wait_seconds);
  if (may_wait) {
    const Situation situation = situation_(incident);
    if (awaits_proof(situation) && !is_burning(incident, situation)) return std::nullopt;
  }
  const bool is_again = state.is_told && state.was_seen;
  return Due{&incident, state.is_told ? Purpose::changed : Purpose::alarm, waiting, is_ringing(incident), false, is_again ? 0 : state.person};
}

bool Courier::is_advice_another(const Incident& incident, Case& state, Timestamp now) {
  const Advice advice = advice_of(incident, situation_(incident));
  if (!state.advice) state.advice = advice;
  if (advice >= *state.advice) {
    state.milder_since.reset();
    return advice > *state.advice;
  }
  if (!state.milder_since) state.milder_since = now;
  return now - *state.milder_since >= advice_settles;
}

std::optional<Courier::Due> Courier::further_word(const Incident& incident, Case& state, Priority waiting, Timestamp now) {
  const bool rings = is_ringing(incident);
  if (!state.first_at) state.first_at = now;
  if (!state.last_at) state.last_at = now;
  Due due{&incident, Purpose::changed, waiting, rings, false, state.person};
  if (is_advice_another(incident, state, now)) return due;
  due.is_repeat_due = now - *state.last_at >= minutes(rings ? timing_.ring_minutes : timing_.repeat_minutes);
  const Duration escalate = minutes(rings ? timing_.escalate_minutes : timing_.escalate_high_minutes);
  if (state.person + 1 < persons_.size() && now - *state.first_at >= escalate * static_cast<std::int64_t>(state.person + 1)) {
    due.purpose = Purpose::escalation;
    ++due.person;
    return due;
  }
  due.purpose = Purpose::repeat;
  if (!due.is_repeat_due) return std::nullopt;
  return due;
}

std::optional<Courier::Due> Courier::due_of(const Incident& incident, Case& state, Timestamp now) {
  const Priority waiting = incident.waiting_priority();
  if (!incident.needs_person || waiting == Priority::low) {
    // Seen, or over and seen, or shelved. That it is over is told where the alarm had come; silently.
    state.was_seen = state.is_told;
    state.waits_for_proof_since.reset();
    const bool is_worth_it = state.is_delivered && !state.is_over_told && state.priority >= Priority::high;
    if (incident.is_standing || incident.needs_person || !is_worth_it) return std::nullopt;
    return Due{&incident, Purpose::over, Priority::medium, false, false, state.person};
  }
  const bool is_new = !state.is_told || waiting > state.priority || (state.was_seen && waiting >= Priority::high);
  if (is_new) return first_word(incident, state, waiting, now);
  if (waiting < Priority::high) return std::nullopt;
  return further_word(incident, state, waiting, now);
}

/// Others of the bench that were cut in the same seconds are about to be proven off; or the bench was told of just now.
bool Courier::is_held_for_others(const Due& due, const std::deque<Incident>& incidents, Timestamp now) const {
  if (due.purpose != Purpose::alarm || due.priority == Priority::highest || due.incident->cause != alarm::Cause::unit) return false;
  const auto told = first_word_at_.find(bench_key(*due.incident, due.priority));
  if (told != first_word_at_.end() && now - told->second < group_within) return true;
  if (now - cases_.at(due.incident->id).waits_for_proof_since.value_or(now) >= group_within) return false;
  return std::any_of(incidents.begin(), incidents.end(), [&](const Incident& other) {
    const auto state = cases_.find(other.id);
    const bool is_of_the_bench = other.id != due.incident->id && other.cause == alarm::Cause::unit && other.bench == due.incident->bench && other.needs_person && other.waiting_priority() == due.priority;
    return is_of_the_bench && state != cases_.end() && !state->second.is_told && state->second.waits_for_proof_since && now - *state->second.waits_for_proof_since < seconds(timing_.proof_wait_seconds) && awaits_proof(situation_(other));
  });
}

// ---- telling ---------------------------------------------------------------------------------------------------

/// The highest is never held back and takes nobody's room; a first word goes before what says something again.
std::size_t Courier::room(Priority priority, Purpose purpose, Timestamp now) {
  while (!sent_at_.empty() && now - sent_at_.front() > flood_period) sent_at_.pop_front();
  if (priority == Priority::highest) return flood_messages;
  const std::size_t most = rank(purpose) <= rank(Purpose::escalation) ? flood_messages : flood_messages / 2;
  return most - std::min(most, sent_at_.size());
}

bool Courier::is_resting(const std::string& route, Timestamp now) const {
  const auto refused = refused_at_.find(route);
  return refused != refused_at_.end() && now - refused->second < route_rests;
}

void Courier::write(const std::vector<const Incident*>& incidents, const Owed& word, const std::string& route, Timestamp now, const Links& link, std::vector<Message>& out) {
  Message message;
  message.id = mark_ + std::string(id_word);
  std::vector<Told> told;
  for (const Incident* incident : incidents) {
    message.id += std::to_string(incident->id) + '-';
    told.push_back({incident, situation_(*incident), link(incident->id)});
  }
  message.id += std::to_string(next_message_++);
  message.purpose = word.purpose;
  message.person = word.person;
  message.route = route;
  message.incident = incidents.front()->id;
  message.link = told.front().link;
  message.priority = word.priority;
  write_words(message, told);
  if (word.priority != Priority::highest) sent_at_.push_back(now);
  if (!word.tried.empty()) tried_[message.id] = word.tried;
  for (const Incident* incident : incidents) remember({message.id, incident->id, word.person, route, word.purpose, word.priority, message.utc, false});
  out.push_back(std::move(message));
}

bool Courier::tell(const std::vector<Due>& group, Timestamp now, const Links& link, std::vector<Message>& out) {
  const Due& due = group.front();
  std::vector<const Incident*> incidents;
  for (const Due& one : group) incidents.push_back(one.incident);

  std::vector<std::pair<Owed, std::string>> words;
  for (std::size_t p = 0; p <= due.person && p < persons_.size(); ++p) {
    const bool is_new_to_them = due.purpose != Purpose::escalation || p == due.person;
    if (!is_new_to_them && !due.is_repeat_due) continue;
    const PersonSettings& person = persons_[p];
    const Owed word{{}, is_new_to_them ? due.purpose : Purpose::repeat, due.priority, person.name, due.is_ringing ? person.routes : std::vector<std::string>{}};
    if (due.is_ringing) {
      for (const std::string& route : person.routes) words.emplace_back(word, route);
    } else if (!person.routes.empty()) {
      // A route that has just refused gives way to the next; where all have, the first goes on trying.
      const auto route = std::find_if(person.routes.begin(), person.routes.end(), [&](const std::string& name) { return !is_resting(name, now); });
      words.emplace_back(word, route == person.routes.end() ? person.routes.front() : *route);
    }
  }
  // Who hears it for the first time comes first, should there not be room for all.
  std::stable_sort(words.begin(), words.end(), [](const auto& a, const auto& b) { return rank(a.first.purpose) < rank(b.first.purpose); });
  const std::size_t left = room(due.priority, due.purpose, now);
  if (words.empty() || left < std::min(words.size(), flood_messages / 2)) return false;
  if (due.priority != Priority::highest && words.size() > left) words.resize(left);
  for (const auto& [word, route] : words) write(incidents, word, route, now, link, out);

  for (const Due& one : group) {
    Case& state = cases_[one.incident->id];
    const bool is_round_new = !state.is_told || state.was_seen || one.priority > state.priority;
    if (is_round_new) state.first_at = now;
    if (one.purpose != Purpose::escalation || one.is_repeat_due) state.last_at = now;
    if (one.purpose == Purpose::over) {
      state.is_over_told = true;
      continue;
    }
    state.is_told = true;
    state.was_seen = false;
    state.is_over_told = false;
    state.priority = std::max(state.priority, one.priority);
    state.person = one.person;
    state.advice = advice_of(*one.incident, situation_(*one.incident));
    state.milder_since.reset();
    state.waits_for_proof_since.reset();
    if (one.purpose == Purpose::alarm) first_word_at_[bench_key(*one.incident, one.priority)] = now;
  }
  return true;
}

void Courier::tell_owed(const std::deque<Incident>& incidents, Timestamp now, const Links& link, std::vector<Message>& out) {
  std::vector<Owed> still;
  for (Owed& word : std::exchange(owed_, {})) {
    std::vector<const Incident*> of_it;
    bool is_missing = false;
    for (const std::int64_t id : word.incidents) {
      const auto found = std::find_if(incidents.begin(), incidents.end(), [&](const Incident& incident) { return incident.id == id; });
      if (found == incidents.end()) is_missing = true;
      // What somebody has acknowledged meanwhile need not be said; that it is over need not, when it is not.
      else if (word.purpose == Purpose::over ? !found->is_standing && !found->needs_person : found->needs_person && found->waiting_priority() > Priority::low) of_it.push_back(&*found);
    }
    const PersonSettings* person = find_person(word.person);
    if (of_it.empty() || person == nullptr) {
      if (is_missing && person != nullptr && still.size() < cases_max) still.push_back(std::move(word));  // after a restart its alarms may yet be heard of
      continue;
    }
    std::vector<std::string> untried;
    for (const std::string& route : person->routes)
      if (std::find(word.tried.begin(), word.tried.end(), route) == word.tried.end()) untried.push_back(route);
    if (untried.empty()) continue;  // the routes that refused go on trying by themselves
    if (room(word.priority, word.purpose, now) == 0) {
      still.push_back(std::move(word));
      continue;
    }
    const auto route = std::find_if(untried.begin(), untried.end(), [&](const std::string& name) { return !is_resting(name, now); });
    write(of_it, word, route == untried.end() ? untried.front() : *route, now, link, out);
  }
  owed_.insert(owed_.end(), std::make_move_iterator(still.begin()), std::make_move_iterator(still.end()));
}

std::vector<Message> Courier::step(const std::deque<Incident>& incidents, Timestamp now, const Links& link) {
  std::vector<Message> out;
  if (persons_.empty()) return out;
  std::erase_if(first_word_at_, [&](const auto& entry) { return now - entry.second >= group_within; });
  tell_owed(incidents, now, link, out);

  std::vector<Due> all;
  for (const Incident& incident : incidents)
    if (const auto due = due_of(incident, cases_[incident.id], now)) all.push_back(*due);
  std::erase_if(all, [&](const Due& due) { return is_held_for_others(due, incidents, now); });
  const auto order = [](const Due& due) { return std::tuple(-static_cast<int>(due.priority), rank(due.purpose)); };
  std::stable_sort(all.begin(), all.end(), [&](const Due& a, const Due& b) { return order(a) < order(b); });

  // Units of one bench of which the same is to be said to the same persons go into one message.
  while (!all.empty()) {
    const Due first = all.front();
    const auto goes_with_it = [&](const Due& due) {
      const bool is_same_word = due.purpose == first.purpose && due.priority == first.priority && due.person == first.person && due.is_ringing == first.is_ringing && due.is_repeat_due == first.is_repeat_due;
      return due.incident == first.incident || (is_same_word && due.incident->cause == alarm::Cause::unit && first.incident->cause == alarm::Cause::unit && due.incident->bench == first.incident->bench);
    };
    std::vector<Due> group;
    for (auto due = all.begin(); due != all.end();) {
      if (group.size() < group_max && goes_with_it(*due)) {
        group.push_back(*due);
        due = all.erase(due);
      } else {
        ++due;
      }
    }
    tell(group, now, link, out);
  }
  for (auto state = cases_.begin(); cases_.size() > cases_max && state != cases_.end();) {
    const bool is_there = std::any_of(incidents.begin(), incidents.end(), [&](const Incident& incident) { return incident.id == state->first; });
    state = is_there ? std::next(state) : cases_.erase(state);
  }
  return out;
}

void Courier::delivered(const Delivery& delivery, Timestamp now) {
  if (delivery.is_delivered) refused_at_.erase(delivery.route);
  else refused_at_[delivery.route] = now;
  std::optional<Owed> refused;
  for (ToldBefore& told : told_) {
    if (told.id != delivery.message) continue;
    told.is_delivered = told.is_delivered || delivery.is_delivered;
    if (told.incident == 0) continue;
    if (delivery.is_delivered) cases_[told.incident].is_delivered = true;
    if (!refused) refused = Owed{{}, told.purpose, told.priority, told.person, {}};
    refused->incidents.push_back(told.incident);
  }
  if (delivery.is_delivered) tried_.erase(delivery.message);
  // Refused once: the person's next route gets it with the next step, while this one goes on trying.
  if (!refused || delivery.is_delivered || delivery.attempt != 1 || owed_.size() >= cases_max) return;
  if (const auto before = tried_.find(delivery.message); before != tried_.end()) refused->tried = before->second;
  refused->tried.push_back(delivery.route);
  owed_.push_back(std::move(*refused));
}

std::vector<Message> Courier::test(const std::string& who, const std::string& utc) {
  std::vector<Message> out;
  for (const PersonSettings& person : persons_) {
    for (const std::string& route : person.routes) {
      Message message;
      message.id = mark_ + "-test-" + std::to_string(next_message_++);
      message.purpose = Purpose::test;
      message.priority = Priority::medium;
      message.person = person.name;
      message.route = route;
      message.utc = utc;
      message.subject = "SLEEP: a test of the bench's messages";
      message.text = "This is a test, asked for by " + who + ".\nIf you read it, the way to you works. Nothing is to be done.\n";
      message.facts = "{}";
      remember({message.id, 0, person.name, route, message.purpose, message.priority, utc, false});
      out.push_back(std::move(message));
    }
  }
  return out;
}

}  // namespace steadyglow::notify
