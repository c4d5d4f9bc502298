#pragma once
#include <deque>
#include <map>
#include <vector>

#include "soak/event.hpp"

namespace steadyglow::soak {

/// Remembers which findings stand, so that each is said once when it begins, once more if it grows worse, and once when
/// it is over; and keeps the alarm that belongs to it.
class FindingBook {
 public:
  explicit FindingBook(std::vector<Event>& out) : out_(&out) {}

  /// The finding stands. Says it if it is new or has grown more severe.
  void raise(Finding finding);
  /// It does not stand (any more). `message` says how it ended.
  void clear(Kind kind, std::optional<PointId> point, Timestamp at, std::string message, Aspect aspect = Aspect::reading);
  bool stands(Kind kind, std::optional<PointId> point) const;
  /// Does a standing finding of this kind speak of the point, alone or with others?
  bool covers(Kind kind, PointId point) const;
  /// Ends what stands without a word: the outlet is open, nothing more can be found. Trips and outlet findings stay.
  void silence(Timestamp at);

  /// False when there is no such alarm or nothing to acknowledge.
  bool acknowledge(std::int64_t alarm, const std::string& who, const std::string& note, Timestamp at);
  /// Puts an alarm aside; it comes back by itself at `until`.
  void shelve(std::int64_t alarm, Timestamp until, const std::string& who, const std::string& why, Timestamp at);
  /// unshelve, remove from service, return to it, reset: one step of the state machine by a person.
  void change(std::int64_t alarm, alarm::Action action, const std::string& who, const std::string& why, Timestamp at);
  /// Takes back what was put aside for a time that is over.
  void advance(Timestamp now);
  const AlarmRecord* find(std::int64_t alarm) const;

  const std::deque<AlarmRecord>& alarms() const { return alarms_; }
  const std::deque<Finding>& history() const { return history_; }
  std::vector<const Finding*> standing() const;

 private:
  struct Key {
    Kind kind;
    int point;  ///< -1: the unit as a whole
    Aspect aspect;
    friend auto operator<=>(const Key&, const Key&) = default;
  };
  static Key key_of(Kind kind, std::optional<PointId> point, Aspect aspect) { return {kind, point ? point->index : -1, aspect}; }
  static Key key_of(const Finding& finding) {
    return {finding.kind, finding.points.empty() ? -1 : finding.points.front().index, finding.aspect};
  }
  void say(Finding finding);
  AlarmRecord* alarm_of(Key key);
  void step_alarm(AlarmRecord& record, alarm::Action action, Timestamp at, const std::string& who = {}, const std::string& why = {});

  static constexpr std::size_t history_max = 4096;
  static constexpr std::size_t alarms_max = 1024;

  std::vector<Event>* out_;
  std::map<Key, Finding> standing_;
  std::map<Key, std::int64_t> alarm_ids_;
  std::deque<AlarmRecord> alarms_;
  std::deque<Finding> history_;
  std::int64_t next_alarm_ = 1;
};

}  // namespace steadyglow::soak
