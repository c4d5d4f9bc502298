#include "notify/courier.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::notify {
namespace {

using alarm::Incident;
using alarm::Priority;

constexpr std::size_t told_max = 1000;

Duration minutes(double value) { return Duration{std::llround(value * 60000.0)}; }
Duration seconds(double value) { return Duration{std::llround(value * 1000.0)}; }

}  // namespace

Courier::Courier(std::string mark, std::vector<PersonSettings> persons, CourierTiming timing, std::function<Situation(const Incident&)> situation)
    : mark_(std::move(mark)), persons_(std::move(persons)), timing_(timing), situation_(std::move(situation)) {}

void Courier::restore(const std::vector<ToldBefore>& told) {
  for (const ToldBefore& one : told) {
    const std::size_t dash = one.id.rfind('-');
    if (dash != std::string::npos) next_message_ = std::max<std::uint64_t>(next_message_, std::strtoull(one.id.c_str() + dash + 1, nullptr, 10) + 1);
    told_.push_back(one);
    if (one.incident == 0) continue;
    Case& state = cases_[one.incident];
    state.is_told = true;
    state.is_delivered = state.is_delivered || one.is_delivered;
    state.is_over_told = state.is_over_told || one.purpose == Purpose::over;
    state.priority = std::max(state.priority, one.priority);
    const auto person = std::find_if(persons_.begin(), persons_.end(), [&](const PersonSettings& p) { return p.name == one.person; });
    if (person != persons_.end()) state.person = std::max(state.person, static_cast<std::size_t>(person - persons_.begin()));
  }
  // What was written and never taken has to be said again.
  for (auto& [id, state] : cases_)
    if (!state.is_delivered) state.is_told = false;
}

/// The highest is never held back and takes nobody's room; a first word goes before what says something again.
bool Courier::is_flooded(Priority priority, Purpose purpose, Timestamp now) {
  while (!sent_at_.empty() && now - sent_at_.front() > flood_period) sent_at_.pop_front();
  const bool is_first = purpose == Purpose::alarm || purpose == Purpose::changed;
  return priority != Priority::highest && sent_at_.size() >= (is_first ? flood_messages : flood_messages / 2);
}

void Courier::write(const Incident& incident, const Situation& situation, Purpose purpose, const PersonSettings& person, const std::string& route, const std::string& link, std::vector<Message>& out) {
  Message message;
  message.id = mark_ + "-incident-" + std::to_string(incident.id) + "-" + std::to_string(next_message_++);
  message.purpose = purpose;
  message.person = person.name;
  message.route = route;
  message.incident = incident.id;
  message.link = link;
  write_words(message, incident, situation);
  if (told_.size() == told_max) told_.erase(told_.begin());
  told_.push_back({message.id, incident.id, person.name, route, purpose, message.priority, message.utc, false});
  out.push_back(std::move(message));
}

void Courier::tell(const Incident& incident, Case& state, Purpose purpose, Timestamp now, const std::function<std::string(std::int64_t)>& link, std::vector<Message>& out) {
  if (persons_.empty() || is_flooded(incident.priority, purpose, now)) return;
  const Situation situation = situation_(incident);
  const std::string address = link(incident.id);
  const bool is_ringing = incident.standing_priority() == Priority::highest && purpose != Purpose::over;
  for (std::size_t p = 0; p <= state.person && p < persons_.size(); ++p) {
    const PersonSettings& person = persons_[p];
    // A route that has just refused gives way to the next; the highest goes by all of them at once.
    std::size_t tried = 0;
    for (const std::string& route : person.routes) {
      const bool is_failing = std::find(failed_routes_.begin(), failed_routes_.end(), route) != failed_routes_.end();
      const bool is_last = &route == &person.routes.back();
      if (!is_ringing && is_failing && !(is_last && tried == 0)) continue;
      write(incident, situation, purpose, person, route, address, out);
      if (incident.priority != Priority::highest) sent_at_.push_back(now);
      ++tried;
      if (!is_ringing) break;
    }
  }
  if (!state.is_told) state.first_at = now;
  state.is_told = true;
  state.priority = std::max(state.priority, incident.priority);
  state.last_at = now;
  state.advice = advice_of(incident, situation);

}

std::vector<Message> Courier::step(const std::deque<Incident>& incidents, Timestamp now, const std::function<std::string(std::int64_t)>& link) {
  std::vector<Message> out;
  for (const Incident& incident : incidents) {
    if (incident.priority == Priority::low) continue;  // the morning sheet has it
    Case& state = cases_[incident.id];
    const bool is_open = incident.needs_person;
    if (!state.is_told || incident.priority > state.priority) {
      if (!is_open) continue;  // somebody saw it before anybody was told, or it was shelved
      // The first word waits for the proof: "is it off" is the first thing that a woken person asks.
      if (!state.waits_for_proof_since) state.waits_for_proof_since = now;
      const bool may_wait = now - *state.waits_for_proof_since < seconds(timing_.proof_wait_seconds);
      if (may_wait && awaits_proof(situation_(incident))) continue;
      state.waits_for_proof_since.reset();
      tell(incident, state, state.is_told ? Purpose::changed : Purpose::alarm, now, link, out);
      continue;
    }
    if (!is_open) {
      // Seen, or over and seen. That it is over is told where the alarm had come; silently.
      if (!incident.is_standing && state.is_delivered && !state.is_over_told && state.priority >= Priority::high) {
        state.is_over_told = true;
        tell(incident, state, Purpose::over, now, link, out);
      }
      continue;
    }
    if (incident.priority < Priority::high) continue;
    const bool is_ringing = incident.standing_priority() == Priority::highest;
    if (state.advice && advice_of(incident, situation_(incident)) != *state.advice) {
      tell(incident, state, Purpose::changed, now, link, out);
      continue;
    }
    const Duration escalate = minutes(is_ringing ? timing_.escalate_minutes : timing_.escalate_high_minutes);
    const auto due_person = static_cast<std::size_t>((now - state.first_at) / escalate);
    if (due_person > state.person && state.person + 1 < persons_.size()) {
      ++state.person;
      tell(incident, state, Purpose::escalation, now, link, out);
      continue;
    }
    if (now - state.last_at >= minutes(is_ringing ? timing_.ring_minutes : timing_.repeat_minutes)) tell(incident, state, Purpose::repeat, now, link, out);
  }
  return out;
}

void Courier::delivered(const Delivery& delivery, Timestamp) {
  const auto told = std::find_if(told_.begin(), told_.end(), [&](const ToldBefore& one) { return one.id == delivery.message; });
  if (delivery.is_delivered) std::erase(failed_routes_, delivery.route);
  else if (std::find(failed_routes_.begin(), failed_routes_.end(), delivery.route) == failed_routes_.end()) failed_routes_.push_back(delivery.route);
  if (told == told_.end()) return;
  if (delivery.is_delivered) {
    told->is_delivered = true;
    if (told->incident != 0) {
      cases_[told->incident].is_delivered = true;
      cases_[told->incident].refused = 0;
    }
    return;
  }
  // Refused once: the person's next route gets it at once, while this one goes on trying.
  if (told->incident == 0 || delivery.attempt != 1) return;
  Case& state = cases_[told->incident];
  const std::size_t routes = persons_.empty() ? 0 : persons_[std::min(state.person, persons_.size() - 1)].routes.size();
  if (state.is_delivered || ++state.refused >= routes) return;  // no other route is left: the refused ones go on trying
  if (told->priority == Priority::medium) state.is_told = false;
  else state.last_at = Timestamp{} - flood_period * 1000;  // due again with the next step
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
      told_.push_back({message.id, 0, person.name, route, message.purpose, message.priority, utc, false});
      out.push_back(std::move(message));
    }
  }
  return out;
}

}  // namespace steadyglow::notify
