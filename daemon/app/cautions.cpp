#include "app/cautions.hpp"

namespace steadyglow::app {

const std::vector<Caution>& cautions() {
  static const std::vector<Caution> all{
      {"not_a_safety_device", "This program is not a safety device. Fuse, RCD or GFCI, a thermal cut-out and a smoke alarm must each work with this computer switched off."},
      {"live", "Mains and several hundred volts kill. Clips go on cold and discharged; covers stay on while it runs; many heatsinks are live."},
      {"discharge", "Capacitors stay charged after switching off. Measure, discharge through a resistor, measure again, then touch."},
      {"fire", "An unattended unit can burn. A metal tray, nothing combustible within a metre, and a smoke alarm that rings without this program."},
      {"rehearsal", "An order is not a switched-off unit. Contacts weld: only the current falling to nothing proves it off. Rehearse the trip before you rely on it."},
      {"alone", "Nobody works alone on live high voltage. Somebody near knows the red button, how to isolate, and how to resuscitate."},
      {"restart", "After a cut nobody switches on again before somebody at the bench has found the cause."},
      {"code", "Local electrical code, the inspector, the insurer and the landlord decide whether a unit may run unattended at all. Work on live parts is for licensed people."},
  };
  return all;
}

}  // namespace steadyglow::app
