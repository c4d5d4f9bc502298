#pragma once
/// One alarm as the whole bench sees it: what the rooms outside a run need of it, and nothing of how it was found.
#include <cstdint>
#include <string>
#include <string_view>

#include "alarm/alarm.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::alarm {

/// What a person is asked for. Words of the standards (priority), meaning of this shop:
enum class Priority : std::uint8_t {
  low,      ///< for the morning sheet
  medium,   ///< told silently: it is done, or it can wait; nobody is woken
  high,     ///< wakes one person, until somebody acknowledges
  highest,  ///< something must be done now: rings until answered, then the second person
};
inline constexpr std::uint8_t priority_count = 4;
std::string_view to_word(Priority priority);

/// What kind of thing an alarm is about: alarms of one cause are told together.
enum class Cause : std::uint8_t { unit, bus, mains, bench };
inline constexpr std::uint8_t cause_count = 4;
std::string_view to_word(Cause cause);

/// `at` is bench time (see Incidents): milliseconds that never go back, whatever the clock on the wall does.
struct Fact {
  std::string unit;        ///< name; empty: of the bench itself
  std::string title;       ///< of the unit, as people know it
  std::string bench;       ///< title of the bench
  std::int64_t run = 0;    ///< of the unit; alarms of two runs are never one incident. 0: not said
  std::int64_t id = 0;     ///< the alarm's number as the outside sees it
  std::string kind;        ///< word of the finding's kind
  std::string point;       ///< the first that it names; may be empty
  Priority priority = Priority::low;
  Cause cause = Cause::unit;
  std::string cause_name;  ///< of the bus or bench; empty otherwise
  State state = State::normal;
  bool is_condition_true = false;
  std::string message;
  std::string who;         ///< who changed it; empty: the program
  std::string why;
  Timestamp at{};
};

}  // namespace steadyglow::alarm
