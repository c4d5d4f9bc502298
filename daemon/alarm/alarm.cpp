#include "alarm/alarm.hpp"

#include <array>

namespace steadyglow::alarm {
namespace {

constexpr std::array<std::string_view, state_count> words{
    "normal",  "unacknowledged", "acknowledged",  "returned_unacknowledged", "latched_unacknowledged", "latched_acknowledged",
    "shelved", "suppressed",     "out_of_service"};

bool is_set_aside(State state) { return state == State::shelved || state == State::suppressed || state == State::out_of_service; }

State back_in_use(const Alarm& alarm) { return alarm.is_condition_true ? State::unacknowledged : State::normal; }

State on_occur(State state) { return is_set_aside(state) || state == State::acknowledged ? state : State::unacknowledged; }

State on_return(const Alarm& alarm) {
  if (alarm.state == State::unacknowledged)
    return alarm.is_latching ? State::latched_unacknowledged : State::returned_unacknowledged;
  if (alarm.state == State::acknowledged) return alarm.is_latching ? State::latched_acknowledged : State::normal;
  return alarm.state;
}

State on_acknowledge(State state) {
  switch (state) {
    case State::unacknowledged: return State::acknowledged;
    case State::returned_unacknowledged: return State::normal;
    case State::latched_unacknowledged: return State::latched_acknowledged;
    default: return state;
  }
}

State next(const Alarm& alarm, Action action) {
  const State state = alarm.state;
  switch (action) {
    case Action::occur: return on_occur(state);
    case Action::return_: return on_return(alarm);
    case Action::acknowledge: return on_acknowledge(state);
    case Action::reset: return state == State::latched_acknowledged ? State::normal : state;
    case Action::shelve: return is_set_aside(state) ? state : State::shelved;
    case Action::unshelve: return state == State::shelved ? back_in_use(alarm) : state;
    case Action::suppress: return is_set_aside(state) ? state : State::suppressed;
    case Action::unsuppress: return state == State::suppressed ? back_in_use(alarm) : state;
    case Action::remove_from_service: return State::out_of_service;
    case Action::return_to_service: return state == State::out_of_service ? back_in_use(alarm) : state;
    case Action::re_alarm: return state == State::acknowledged ? State::unacknowledged : state;
  }
  return state;
}

}  // namespace

std::string_view to_word(State state) { return words[static_cast<std::size_t>(state)]; }

Alarm step(Alarm alarm, Action action, Timestamp now) {
  if (action == Action::occur) alarm.is_condition_true = true;
  if (action == Action::return_) alarm.is_condition_true = false;
  const State before = alarm.state;
  alarm.state = next(alarm, action);
  if (alarm.state != before) alarm.changed_at = now;
  return alarm;
}

bool needs_person(State state) {
  return state == State::unacknowledged || state == State::returned_unacknowledged || state == State::latched_unacknowledged;
}

bool is_standing(State state) {
  return state == State::unacknowledged || state == State::acknowledged || state == State::latched_unacknowledged ||
         state == State::latched_acknowledged;
}

}  // namespace steadyglow::alarm
