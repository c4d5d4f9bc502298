#include "alarm/alarm.hpp"

#include <gtest/gtest.h>

namespace steadyglow::alarm {
namespace {

struct Transition {
  State from;
  Action action;
  State to;
  bool is_latching;
  bool is_condition_true;  ///< before the action
};

// State diagram of IEC 62682 / ANSI/ISA-18.2. Normal, unacknowledged, acknowledged and returned-unacknowledged, shelving
// and suppression after secondary sources that quote the standard; latched states and ends of suppression from memory.
const Transition transitions[] = {
    {State::normal, Action::occur, State::unacknowledged, false, false},
    {State::unacknowledged, Action::acknowledge, State::acknowledged, false, true},
    {State::unacknowledged, Action::return_, State::returned_unacknowledged, false, true},
    {State::acknowledged, Action::return_, State::normal, false, true},
    {State::acknowledged, Action::re_alarm, State::unacknowledged, false, true},
    {State::returned_unacknowledged, Action::acknowledge, State::normal, false, false},
    {State::returned_unacknowledged, Action::occur, State::unacknowledged, false, false},
    {State::unacknowledged, Action::return_, State::latched_unacknowledged, true, true},
    {State::acknowledged, Action::return_, State::latched_acknowledged, true, true},
    {State::latched_unacknowledged, Action::acknowledge, State::latched_acknowledged, true, false},
    {State::latched_unacknowledged, Action::occur, State::unacknowledged, true, false},
    {State::latched_acknowledged, Action::reset, State::normal, true, false},
    {State::latched_acknowledged, Action::occur, State::unacknowledged, true, false},
    {State::unacknowledged, Action::shelve, State::shelved, false, true},
    {State::shelved, Action::unshelve, State::unacknowledged, false, true},
    {State::shelved, Action::unshelve, State::normal, false, false},
    {State::acknowledged, Action::suppress, State::suppressed, false, true},
    {State::suppressed, Action::unsuppress, State::normal, false, false},
    {State::suppressed, Action::unsuppress, State::unacknowledged, false, true},
    {State::normal, Action::remove_from_service, State::out_of_service, false, false},
    {State::out_of_service, Action::return_to_service, State::unacknowledged, false, true},
    {State::out_of_service, Action::return_to_service, State::normal, false, false},
    // and what must not happen
    {State::unacknowledged, Action::reset, State::unacknowledged, true, true},
    {State::latched_unacknowledged, Action::reset, State::latched_unacknowledged, true, false},
    {State::shelved, Action::occur, State::shelved, false, false},
    {State::normal, Action::acknowledge, State::normal, false, false},
};

TEST(Alarm, FollowsTheStateDiagramOfTheStandard) {
  for (const Transition& t : transitions) {
    Alarm alarm;
    alarm.state = t.from;
    alarm.is_latching = t.is_latching;
    alarm.is_condition_true = t.is_condition_true;
    const Alarm after = step(alarm, t.action, at_ms(5000));
    EXPECT_EQ(to_word(after.state), to_word(t.to)) << to_word(t.from) << " action " << static_cast<int>(t.action);
    EXPECT_EQ(after.changed_at == at_ms(5000), t.from != t.to);
  }
}

}  // namespace
}  // namespace steadyglow::alarm
