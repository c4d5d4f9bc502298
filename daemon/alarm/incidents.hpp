#pragma once
/// Alarms of one cause, told together: one run of a unit, one dead bus, the mains, one bench. A person is told of incidents,
/// never of fifteen alarms that say the same.
#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "alarm/fact.hpp"

namespace steadyglow::alarm {

struct Incident {
  std::int64_t id = 0;
  Cause cause = Cause::unit;
  std::string cause_name;           ///< of the bus or bench; of a unit: its name
  std::string bench;
  Priority priority = Priority::low;  ///< the highest that any of its alarms had
  Timestamp opened_at{};
  Timestamp changed_at{};
  bool is_standing = true;          ///< a condition is still true
  bool needs_person = true;         ///< an alarm of it is unacknowledged
  std::string acknowledged_by;      ///< the last who did; empty again when something new came since
  std::vector<Fact> facts;          ///< newest word of each alarm, in the order of their first

  bool is_acknowledged() const { return !needs_person; }
  /// The highest priority among what still holds.
  Priority standing_priority() const;
  /// The highest priority among what nobody has acknowledged; low when nothing waits for anybody.
  Priority waiting_priority() const;
  /// The fact that says most: what still holds before what is over, the highest priority, and of those the first.
  const Fact& leading() const;
  std::vector<std::string> units() const;
};

/// Pure; told the time. `take` is called with every transition of every alarm.
class Incidents {
 public:
  /// An alarm that comes this long after the last word of an incident that is over begins another one.
  static constexpr Duration reopens_within = std::chrono::minutes{30};
  /// Of these the oldest that is over and seen makes room; when all still matter, the oldest.
  static constexpr std::size_t kept_max = 200;
  /// Beyond, the alarms heard of first are forgotten: should one speak again, it is told anew rather than not at all.
  static constexpr std::size_t known_max = 10'000;

  /// Returns the incident's number.
  std::int64_t take(const Fact& fact);
  const std::deque<Incident>& all() const { return incidents_; }
  const Incident* find(std::int64_t id) const;
  /// The number of the next one; so that numbers are not given twice after a restart.
  void begin_at(std::int64_t next_id) { next_id_ = std::max(next_id_, next_id); }
  /// A restart: this alarm belongs to that incident already.
  void restore(std::int64_t alarm, std::int64_t incident) {
    know(alarm, incident);
    begin_at(incident + 1);
  }

 private:
  Incident* at(std::int64_t id);
  Incident& incident_for(const Fact& fact);
  Incident& open(const Fact& fact, std::int64_t id);
  void make_room();
  void know(std::int64_t alarm, std::int64_t incident);

  std::deque<Incident> incidents_;
  std::map<std::string, std::int64_t> current_;  ///< by cause: the incident that a new alarm of it joins
  std::map<std::int64_t, std::int64_t> known_;   ///< alarm to incident
  std::deque<std::int64_t> heard_;               ///< alarms of known_, in the order of their first word
  std::int64_t next_id_ = 1;
};

}  // namespace steadyglow::alarm
