#pragma once
/// What a night does to every unit of the bench alike: mains, room and the programme that plays.
#include <string>
#include <vector>

#include "bench/detection/dice.hpp"

namespace steadyglow::detection {

struct Moment {
  double seconds = 0.0;         ///< since switching on
  double mains = 1.0;           ///< of nominal
  double room = 22.0;           ///< degC round the unit
  double room_at_sensor = 22.0; ///< degC where the bench's own thermometer lies
  double music_left = 0.0;      ///< peak of the programme, of full output
  double music_right = 0.0;
};

enum class Music { none, with_pauses, restless };

class Surroundings {
 public:
  Surroundings(Dice dice, double hours, Music music);
  const Moment& step(double dt);
  const Moment& now() const { return now_; }

 private:
  struct Change {
    double at;
    double by;
    double until;  ///< 0: for good
  };
  struct Dip {
    double at;
    double seconds;
    double depth;
  };
  void draw_mains(double hours);
  void draw_room(double hours);
  double mains_at(double dt);
  double clock_hours() const;
  void step_room(double dt);
  void step_music(double dt);

  Dice dice_;
  Music music_;
  Moment now_;
  double started_at_;  ///< hours of the day
  // mains
  double mains_base_;
  double mains_day_;
  Wander mains_flicker_;
  Wander mains_slow_;
  std::vector<Change> taps_;
  std::vector<Change> lamps_;
  std::vector<Dip> sags_;
  // room
  double day_celsius_;
  double night_fall_;
  double room_tau_;
  double thermostat_kelvin_;
  double thermostat_seconds_;
  double heating_from_;
  double heating_until_;
  bool is_sun_on_sensor_;
  std::vector<Change> doors_;
  std::vector<Change> suns_;
  double walls_;
  double door_kelvin_ = 0.0;
  double sun_kelvin_ = 0.0;
  double sensor_ = 0.0;
  double sensor_tau_;
  Wander draught_;
  // programme
  double next_track_ = 0.0;
  double pause_until_ = 0.0;
  double block_until_ = 0.0;
  double break_until_ = 0.0;
  double track_level_ = 0.0;
  double balance_ = 1.0;
  Wander passage_;
  Wander left_;
  Wander right_;
};

}  // namespace steadyglow::detection
