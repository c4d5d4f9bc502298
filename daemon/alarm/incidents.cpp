#include "alarm/incidents.hpp"

#include <utility>

namespace steadyglow::alarm {
namespace {

std::string key_of(const Fact& fact) {
  const std::string unit = "unit/" + fact.unit + '/' + std::to_string(fact.run);
  switch (fact.cause) {
    case Cause::unit: return unit;
    case Cause::bus: return "bus/" + fact.cause_name;
    case Cause::mains: return "mains/" + fact.bench;
    // What an outlet of a unit says belongs to the trip that ordered it. What the bench says itself is told apart by kind:
    // smoke, a contactor, a watchdog each ask for something else.
    case Cause::bench: return fact.unit.empty() ? "bench/" + fact.cause_name + '/' + fact.kind : unit;
  }
  return {};
}

bool is_live(const Incident& incident) { return incident.is_standing || incident.needs_person; }

}  // namespace

Priority Incident::standing_priority() const {
  Priority highest = Priority::low;
  for (const Fact& fact : facts)
    if (fact.is_condition_true) highest = std::max(highest, fact.priority);
  return highest;
}

Priority Incident::waiting_priority() const {
  Priority highest = Priority::low;
  for (const Fact& fact : facts)
    if (alarm::needs_person(fact.state)) highest = std::max(highest, fact.priority);
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

const Incident* Incidents::find(std::int64_t id) const {
  const auto found = std::find_if(incidents_.begin(), incidents_.end(), [&](const Incident& incident) { return incident.id == id; });
  return found == incidents_.end() ? nullptr : &*found;
}

Incident* Incidents::at(std::int64_t id) { return const_cast<Incident*>(std::as_const(*this).find(id)); }

void Incidents::know(std::int64_t alarm, std::int64_t incident) {
  if (!known_.insert_or_assign(alarm, incident).second) return;
  heard_.push_back(alarm);
  if (heard_.size() <= known_max) return;
  known_.erase(heard_.front());
  heard_.pop_front();
}

void Incidents::make_room() {
  if (incidents_.size() < kept_max) return;
  const auto quiet = std::find_if_not(incidents_.begin(), incidents_.end(), is_live);
  const auto gone = quiet == incidents_.end() ? incidents_.begin() : quiet;
  std::erase_if(current_, [&](const auto& entry) { return entry.second == gone->id; });
  incidents_.erase(gone);
}

Incident& Incidents::open(const Fact& fact, std::int64_t id) {
  make_room();
  Incident incident;
  incident.id = id;
  incident.cause = fact.cause == Cause::bench && !fact.unit.empty() ? Cause::unit : fact.cause;
  incident.cause_name = incident.cause == Cause::unit ? fact.unit : fact.cause_name;
  incident.bench = fact.bench;
  incident.opened_at = fact.at;
  // An older one that speaks again after a restart does not take the place of a newer one.
  std::int64_t& current = current_[key_of(fact)];
  current = std::max(current, id);
  incidents_.push_back(std::move(incident));
  return incidents_.back();
}

Incident& Incidents::incident_for(const Fact& fact) {
  if (const auto known = known_.find(fact.id); known != known_.end()) {
    Incident* there = at(known->second);
    return there != nullptr ? *there : open(fact, known->second);
  }
  if (const auto current = current_.find(key_of(fact)); current != current_.end())
    if (Incident* there = at(current->second))
      // Over, seen and long ago: what comes now is another one.
      if (is_live(*there) || fact.at - there->changed_at <= reopens_within) return *there;
  return open(fact, next_id_++);
}

std::int64_t Incidents::take(const Fact& fact) {
  Incident& incident = incident_for(fact);
  know(fact.id, incident.id);
  const auto member = std::find_if(incident.facts.begin(), incident.facts.end(), [&](const Fact& one) { return one.id == fact.id; });
  if (member == incident.facts.end()) incident.facts.push_back(fact);
  else *member = fact;
  const bool waited = incident.needs_person;
  incident.changed_at = fact.at;
  incident.priority = std::max(incident.priority, fact.priority);
  incident.is_standing = std::any_of(incident.facts.begin(), incident.facts.end(), [](const Fact& one) { return one.is_condition_true; });
  incident.needs_person = std::any_of(incident.facts.begin(), incident.facts.end(), [](const Fact& one) { return needs_person(one.state); });
  if (incident.needs_person && !waited) incident.acknowledged_by.clear();
  if (!incident.needs_person && !fact.who.empty()) incident.acknowledged_by = fact.who;
  return incident.id;
}

}  // namespace steadyglow::alarm
