#pragma once
/// The supply and the room of the bench, as a night's script wants them.
#include "demo/bench/night.hpp"
#include "demo/bench/noise.hpp"

namespace steadyglow::demo {

/// What every unit feels. Volts and hertz of the mains before the relays, degC of the room.
struct Weather {
  double mains_volts = 230.0;
  double mains_hertz = 50.0;
  double room_celsius = 23.0;
};

class Surroundings {
 public:
  explicit Surroundings(const Night& night);
  /// At `seconds` of bench time. Ask in order of time.
  Weather at(double seconds);

 private:
  double volts_at(double seconds);
  void room_to(double seconds);

  MainsScript mains_;
  RoomScript room_;
  Wander mains_wander_;
  Wander hertz_wander_;
  Wander room_wander_;
  double room_at_ = 0.0;   ///< bench time of room_base_ and room_extra_
  double room_base_;       ///< degC: walls and heating
  double room_extra_ = 0.0;  ///< K: what thermostat and door add for a while
};

/// One first-order lag, exact for an input that holds during dt: stable for every step.
double lagged(double value, double target, double dt, double tau);

}  // namespace steadyglow::demo
