#pragma once
/// A fixed-bias amplifier with four output tubes, healthy, on any mains and in any room.
#include "support/night.hpp"

namespace steadyglow::tests {

inline const std::string tube_amp = R"(
[profile]
kind = "tube-pp-fixed-bias"
mains_nominal_volts = 230.0
[[point]]
name = "v1_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
warn = { low = 300.0, high = 460.0 }
trip = { high = 570.0 }
trip_dwell_seconds = 2
matched_with = ["v2_mv", "v3_mv", "v4_mv"]
sense_ohms = 10.0
[[point]]
name = "v2_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
warn = { low = 300.0, high = 460.0 }
trip = { high = 570.0 }
[[point]]
name = "v3_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
warn = { low = 300.0, high = 460.0 }
trip = { high = 570.0 }
trip_dwell_seconds = 2
[[point]]
name = "v4_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
warn = { low = 300.0, high = 460.0 }
trip = { high = 570.0 }
[[point]]
name = "b_plus"
quantity = "voltage"
uom = "V"
role = "supply"
nominal = 452.0
warn = { low = 420.0, high = 490.0 }
[[point]]
name = "transformer"
quantity = "temperature"
uom = "Cel"
role = "transformer"
warn = { high = 85.0 }
trip = { high = 95.0 }
[[point]]
name = "mains_v"
quantity = "voltage"
uom = "V"
role = "mains_voltage"
nominal = 230.0
[[point]]
name = "mains_a"
quantity = "current"
uom = "A"
role = "mains_current"
[[point]]
name = "mains_w"
quantity = "power"
uom = "W"
role = "mains_power"
[[point]]
name = "room"
quantity = "temperature"
uom = "Cel"
role = "ambient"
)";

/// The amplifier on a mains course: currents with the power 1.5, B+ proportional (three-halves law; from memory).
inline Night healthy_night(Course mains = hold(230.0), Course room = hold(23.0), const soak::Policy& policy = {}) {
  Night night(tube_amp, usual_plan, policy);
  const auto follows = [mains](double nominal, double power) {
    return [=](double s) { return nominal * (1.0 - std::exp(-(s + 10.0) / 300.0)) * std::pow(mains(s) / 230.0, power); };
  };
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, follows(380.0, 1.5), 1.0);
  night.point("b_plus", follows(452.0, 1.0), 0.3);
  night.point("transformer", thermal(room, [mains](double s) { return 40.0 * std::pow(mains(s) / 230.0, 2.0); }, 4200.0), 0.1);
  night.point("mains_v", mains, 0.2);
  night.point("mains_a", follows(0.55, 0.5), 0.002);
  night.point("mains_w", follows(120.0, 1.5), 0.3);
  night.point("room", room, 0.05);
  return night;
}

}  // namespace steadyglow::tests
