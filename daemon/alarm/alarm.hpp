#pragma once
/// The alarm state machine of IEC 62682 / ANSI/ISA-18.2, as a pure function that is told the time.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "core/timestamp.hpp"

namespace steadyglow::alarm {

enum class State : std::uint8_t {
  normal,
  unacknowledged,
  acknowledged,
  returned_unacknowledged,
  latched_unacknowledged,
  latched_acknowledged,
  shelved,
  suppressed,
  out_of_service
};
inline constexpr std::uint8_t state_count = 9;
std::string_view to_word(State state);

enum class Action : std::uint8_t {
  occur,        ///< the condition became true
  return_,      ///< the condition became false
  acknowledge,
  reset,
  shelve,
  unshelve,
  suppress,
  unsuppress,
  remove_from_service,
  return_to_service,
  re_alarm
};

struct Alarm {
  State state = State::normal;
  bool is_condition_true = false;  ///< the finding stands now, whatever the state says
  bool is_latching = false;        ///< a latching alarm that returns stays until it is reset
  Timestamp changed_at{};
};

/// One transition. An action that the state does not know leaves it as it is.
Alarm step(Alarm alarm, Action action, Timestamp now);

/// Does it ask for a person's attention? (annunciated states of the standard that nobody has acknowledged)
bool needs_person(State state);
/// Is it standing, acknowledged or not?
bool is_standing(State state);

}  // namespace steadyglow::alarm
