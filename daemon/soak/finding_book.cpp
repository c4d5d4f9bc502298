#include "soak/finding_book.hpp"

#include <algorithm>

namespace steadyglow::soak {
namespace {

alarm::Cause cause_of(const Finding& finding) {
  switch (finding.kind) {
    case Kind::mains: return alarm::Cause::mains;
    case Kind::no_data: return alarm::Cause::bus;  // whoever knows the wires says whether it is one meter or all
    default: return alarm::Cause::unit;
  }
}

}  // namespace

void FindingBook::say(Finding finding) {
  if (history_.size() == history_max) history_.pop_front();
  history_.push_back(finding);
  out_->emplace_back(std::move(finding));
}

AlarmRecord* FindingBook::alarm_of(Key key) {
  const auto id = alarm_ids_.find(key);
  if (id == alarm_ids_.end()) return nullptr;
  const auto record = std::find_if(alarms_.begin(), alarms_.end(), [&](const AlarmRecord& r) { return r.id == id->second; });
  return record == alarms_.end() ? nullptr : &*record;
}

void FindingBook::step_alarm(AlarmRecord& record, alarm::Action action, Timestamp at, const std::string& who, const std::string& why) {
  record.alarm = alarm::step(record.alarm, action, at);
  record.changed_by = who;
  record.why = why;
  out_->emplace_back(record);
}

void FindingBook::raise(Finding finding) {
  const Key key = key_of(finding);
  const auto before = standing_.find(key);
  if (before != standing_.end() && finding.severity <= before->second.severity) return;
  standing_[key] = finding;
  say(finding);
  if (finding.severity == Severity::note) return;

  AlarmRecord* record = alarm_of(key);
  const bool is_over = record != nullptr && record->alarm.state == alarm::State::normal;
  const bool is_worse = record != nullptr && finding.severity > record->finding.severity;
  if (record == nullptr || is_over || is_worse) {
    if (is_worse && !is_over) step_alarm(*record, alarm::Action::return_, finding.at);
    if (alarms_.size() == alarms_max) alarms_.pop_front();
    AlarmRecord fresh;
    fresh.id = next_alarm_;
    fresh.finding = finding;
    fresh.raised_at = finding.at;
    alarms_.push_back(std::move(fresh));
    alarm_ids_[key] = next_alarm_++;
    record = &alarms_.back();
    record->alarm.is_latching = finding.severity == Severity::trip;
    record->priority = finding.priority.value_or(finding.severity == Severity::trip ? alarm::Priority::high : alarm::Priority::low);
    record->cause = cause_of(finding);
  }
  record->finding = finding;
  record->cleared_at.reset();
  step_alarm(*record, alarm::Action::occur, finding.at);
}

void FindingBook::clear(Kind kind, std::optional<PointId> point, Timestamp at, std::string message, Aspect aspect) {
  const auto standing = standing_.find(key_of(kind, point, aspect));
  if (standing == standing_.end()) return;
  Finding over = standing->second;
  const Key key = standing->first;
  standing_.erase(standing);
  over.is_raised = false;
  over.at = at;
  over.message = std::move(message);
  if (AlarmRecord* record = alarm_of(key); record != nullptr && over.severity != Severity::note) {
    record->cleared_at = at;
    say(std::move(over));
    step_alarm(*record, alarm::Action::return_, at);
    return;
  }
  say(std::move(over));
}

bool FindingBook::stands(Kind kind, std::optional<PointId> point) const { return standing_.contains(key_of(kind, point, Aspect::reading)); }

bool FindingBook::covers(Kind kind, PointId point) const {
  return std::any_of(standing_.begin(), standing_.end(), [&](const auto& entry) {
    const auto& points = entry.second.points;
    return entry.first.kind == kind && std::find(points.begin(), points.end(), point) != points.end();
  });
}

void FindingBook::silence(Timestamp at) {
  std::vector<Key> ended;
  for (const auto& [key, finding] : standing_)
    if (finding.severity != Severity::trip && finding.kind != Kind::outlet) ended.push_back(key);
  for (const Key& key : ended) {
    if (AlarmRecord* record = alarm_of(key)) {
      record->cleared_at = at;
      step_alarm(*record, alarm::Action::return_, at);
    }
    standing_.erase(key);
  }
}

bool FindingBook::acknowledge(std::int64_t id, const std::string& who, const std::string& note, Timestamp at) {
  const auto record = std::find_if(alarms_.begin(), alarms_.end(), [&](const AlarmRecord& r) { return r.id == id; });
  if (record == alarms_.end() || !alarm::needs_person(record->alarm.state)) return false;
  record->acknowledged_by = who;
  record->note = note;
  step_alarm(*record, alarm::Action::acknowledge, at, who, note);
  return true;
}

const AlarmRecord* FindingBook::find(std::int64_t id) const {
  const auto record = std::find_if(alarms_.begin(), alarms_.end(), [&](const AlarmRecord& r) { return r.id == id; });
  return record == alarms_.end() ? nullptr : &*record;
}

void FindingBook::shelve(std::int64_t id, Timestamp until, const std::string& who, const std::string& why, Timestamp at) {
  const auto record = std::find_if(alarms_.begin(), alarms_.end(), [&](const AlarmRecord& r) { return r.id == id; });
  if (record == alarms_.end()) return;
  record->shelved_until = until;
  step_alarm(*record, alarm::Action::shelve, at, who, why);
}

void FindingBook::change(std::int64_t id, alarm::Action action, const std::string& who, const std::string& why, Timestamp at) {
  const auto record = std::find_if(alarms_.begin(), alarms_.end(), [&](const AlarmRecord& r) { return r.id == id; });
  if (record == alarms_.end()) return;
  if (action == alarm::Action::unshelve) record->shelved_until.reset();
  step_alarm(*record, action, at, who, why);
}

void FindingBook::advance(Timestamp now) {
  for (AlarmRecord& record : alarms_) {
    if (!record.shelved_until || now < *record.shelved_until) continue;
    record.shelved_until.reset();
    step_alarm(record, alarm::Action::unshelve, now, {}, "its time aside is over");
  }
}

std::vector<const Finding*> FindingBook::standing() const {
  std::vector<const Finding*> all;
  for (const auto& [key, finding] : standing_) all.push_back(&finding);
  return all;
}

}  // namespace steadyglow::soak
