#include "alarm/incidents.hpp"

#include <algorithm>
#include <utility>

namespace steadyglow::alarm {

Priority Incident::standing_priority() const {
  Priority highest = Priority::low;
  for (const Fact& fact : facts)
    if (fact.is_condition_true) highest = std::max(highest, fact.priority);
  return highest;
}

const Fact& Incident::leading() const {
  return *std::max_element(facts.begin(), facts.end(), [](const Fact& a, const Fact& b) { return std::pair(a.is_condition_true, a.priority) < std::pair(b.is_condition_true, b.priority); });
}

std::vector<std::string> Incident::units() const {
  std::vector<std::string> units;
  for (const Fact& fact : facts)
    if (!fact.unit.empty() && std::find(units.begin(), units.end(), fact.unit) == units.end()) units.push_back(fact.unit);
  return units;
}

std::string Incidents::key_of(const Fact& fact) const {
  switch (fact.cause) {
    case Cause::unit: return "unit/" + fact.unit;
    case Cause::bus: return "bus/" + fact.cause_name;
    case Cause::mains: return "mains/" + fact.bench;
    // What a cut that fails, a contactor and smoke say is told apart: each asks for something else.
    case Cause::bench: return "bench/" + fact.cause_name + '/' + fact.kind;
  }
  return {};
}

const Incident* Incidents::find(std::int64_t id) const {
  const auto found = std::find_if(incidents_.begin(), incidents_.end(), [&](const Incident& incident) { return incident.id == id; });
  return found == incidents_.end() ? nullptr : &*found;
}

Incident& Incidents::open(const Fact& fact, std::int64_t id) {
  if (incidents_.size() == kept_max) incidents_.pop_front();
  Incident incident;
  incident.id = id;
  incident.cause = fact.cause;
  incident.cause_name = fact.cause == Cause::unit ? fact.unit : fact.cause_name;
  incident.bench = fact.bench;
  incident.opened_at = fact.at;
  incidents_.push_back(std::move(incident));
  return incidents_.back();
}

std::int64_t Incidents::take(const Fact& fact) {
  const std::string key = key_of(fact);
  Incident* incident = nullptr;
  const auto at = [&](std::int64_t id) -> Incident* {
    const auto found = std::find_if(incidents_.begin(), incidents_.end(), [&](const Incident& i) { return i.id == id; });
    return found == incidents_.end() ? nullptr : &*found;
  };
  const auto known = known_.find(fact.id);
  if (known != known_.end()) {
    incident = at(known->second);
    if (incident == nullptr) incident = &open(fact, known->second);
    open_[key] = known->second;
  } else if (const auto current = open_.find(key); current != open_.end()) {
    incident = at(current->second);
    // It is over, seen, and long ago: what comes now is another one.
    const bool is_past = incident != nullptr && !incident->is_standing && !incident->needs_person && fact.at - incident->changed_at > reopens_within;
    if (is_past) incident = nullptr;
  }
  if (incident == nullptr) {
    incident = &open(fact, next_id_++);
    open_[key] = incident->id;
  }
  known_[fact.id] = incident->id;
  const auto member = std::find_if(incident->facts.begin(), incident->facts.end(), [&](const Fact& one) { return one.id == fact.id; });
  if (member == incident->facts.end()) incident->facts.push_back(fact);
  else *member = fact;
  incident->changed_at = fact.at;
  incident->priority = std::max(incident->priority, fact.priority);
  incident->is_standing = std::any_of(incident->facts.begin(), incident->facts.end(), [](const Fact& one) { return one.is_condition_true; });
  incident->needs_person = std::any_of(incident->facts.begin(), incident->facts.end(), [](const Fact& one) { return needs_person(one.state); });
  if (!fact.who.empty() && !incident->needs_person) incident->acknowledged_by = fact.who;
  return incident->id;
}

}  // namespace steadyglow::alarm
