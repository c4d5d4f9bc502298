#pragma once
/// Alarms of the bench itself: smoke, a contactor that did not obey, a dropped watchdog, a store that cannot write, a route
/// that fails. They belong to no run; the journal keeps them.
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "alarm/fact.hpp"
#include "store/rows.hpp"

namespace steadyglow::app {

/// Alarm numbers below alarms_per_run belong to no run.
class BenchAlarms {
 public:
  using Told = std::function<void(const alarm::Fact&)>;
  /// `told` hears every transition; `remember` gets it as JSON for the journal.
  BenchAlarms(Told told, std::function<void(const std::string& json)> remember) : told_(std::move(told)), remember_(std::move(remember)) {}

  struct Raised {
    std::string kind;        ///< word: smoke, contactor, watchdog, store, route, heartbeat
    alarm::Cause cause = alarm::Cause::bench;
    std::string cause_name;  ///< of the bench or route
    std::string bench;
    alarm::Priority priority = alarm::Priority::low;
    std::string message;
  };
  /// The condition holds; said once, and again if its priority rises. One per (kind, cause_name).
  void raise(const Raised& raised, Timestamp at);
  void clear(const std::string& kind, const std::string& cause_name, const std::string& message, Timestamp at);
  /// False when there is no such alarm or nothing to acknowledge.
  bool acknowledge(std::int64_t id, const std::string& who, const std::string& why, Timestamp at);
  bool owns(std::int64_t id) const;
  /// Puts back what the journal says; call before the first raise. Times are of an earlier life: told as of `now`.
  void restore(const store::JournalRow& row);
  void tell_restored(Timestamp now);

  /// Those that are not back to normal, and the newest of the others.
  std::vector<alarm::Fact> facts() const;

 private:
  struct Kept {
    alarm::Fact fact;
    alarm::Alarm alarm;
  };
  static std::string key_of(const std::string& kind, const std::string& name) { return kind + '/' + name; }
  void step(Kept& kept, alarm::Action action, const std::string& who, const std::string& why, Timestamp at);

  Told told_;
  std::function<void(const std::string&)> remember_;
  std::map<std::string, Kept> kept_;
  std::int64_t next_id_ = 1;
};

}  // namespace steadyglow::app
