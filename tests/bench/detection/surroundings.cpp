#include "bench/detection/surroundings.hpp"

namespace steadyglow::detection {
namespace {

constexpr double hour = 3600.0;
constexpr double door_tau_seconds = 600.0;
constexpr double sun_tau_seconds = 900.0;

bool is_within(double clock, double from, double until) { return from <= until ? clock >= from && clock < until : clock >= from || clock < until; }

}  // namespace

Surroundings::Surroundings(Dice dice, double hours, Music music)
    : dice_(std::move(dice)),
      music_(music),
      started_at_(dice_.chance(0.7) ? dice_.uniform(15.0, 22.0) : dice_.uniform(0.0, 24.0)),
      mains_base_(dice_.uniform(-0.02, 0.02)),
      mains_day_(dice_.uniform(0.003, 0.015)),
      mains_flicker_(dice_.uniform(0.0006, 0.0016), 45.0),
      mains_slow_(dice_.uniform(0.002, 0.006), dice_.uniform(900.0, 2400.0)),
      day_celsius_(dice_.uniform(19.0, 26.0)),
      night_fall_(dice_.uniform(1.0, 10.0)),
      room_tau_(dice_.uniform(1.5, 4.0) * hour),
      thermostat_kelvin_(dice_.chance(0.7) ? dice_.uniform(0.2, 0.9) : 0.0),
      thermostat_seconds_(dice_.uniform(12.0, 55.0) * 60.0),
      heating_from_(dice_.uniform(5.5, 6.8)),
      heating_until_(dice_.uniform(19.0, 23.5)),
      is_sun_on_sensor_(dice_.chance(0.3)),
      walls_(day_celsius_),
      sensor_(day_celsius_),
      sensor_tau_(dice_.uniform(120.0, 700.0)),
      draught_(dice_.uniform(0.05, 0.2), 400.0),
      passage_(1.0, dice_.uniform(15.0, 40.0)),
      left_(0.12, 60.0),
      right_(0.12, 60.0) {
  if (!is_within(clock_hours(), heating_from_, heating_until_)) walls_ = sensor_ = day_celsius_ - night_fall_ * 0.5;
  now_.room = now_.room_at_sensor = walls_;
  draw_mains(hours);
  draw_room(hours);
}

double Surroundings::clock_hours() const { return std::fmod(started_at_ + now_.seconds / hour, 24.0); }

void Surroundings::draw_mains(double hours) {
  const double end = hours * hour;
  // Tap changers and neighbours' machines: 1 to 4 %, often back later.
  for (int i = dice_.between(0, 4); i > 0; --i) {
    const double at = dice_.uniform(0.0, end);
    const double by = dice_.uniform(0.01, 0.04) * (dice_.chance(0.5) ? 1.0 : -1.0);
    taps_.push_back({at, by, dice_.chance(0.6) ? at + dice_.spread(600.0, 10.0 * hour) : 0.0});
  }
  for (int i = dice_.between(0, 12); i > 0; --i) {
    const double at = dice_.uniform(0.0, end);
    lamps_.push_back({at, -dice_.uniform(0.002, 0.009), at + dice_.spread(60.0, 3.0 * hour)});
  }
  for (int i = dice_.between(0, 6); i > 0; --i) sags_.push_back({dice_.uniform(0.0, end), dice_.spread(0.5, 12.0), dice_.uniform(0.05, 0.3)});
}

void Surroundings::draw_room(double hours) {
  const double end = hours * hour;
  for (int i = dice_.between(0, 4); i > 0; --i) {
    const double at = dice_.uniform(0.0, end);
    doors_.push_back({at, -dice_.uniform(1.0, 3.5), at + dice_.spread(40.0, 900.0)});
  }
  if (dice_.chance(0.4)) {
    for (double day = 0.0; day < hours + 24.0; day += 24.0) {
      const double at = (day + dice_.uniform(9.0, 14.0) - started_at_) * hour;
      suns_.push_back({at, dice_.uniform(1.0, 4.0), at + dice_.uniform(0.5, 2.5) * hour});
    }
  }
}

double Surroundings::mains_at(double dt) {
  const double at = now_.seconds;
  double mains = 1.0 + mains_base_ + mains_flicker_.step(dt, dice_) + mains_slow_.step(dt, dice_);
  // Lowest in the evening, highest in the small hours.
  mains += mains_day_ * std::cos((clock_hours() - 3.5) / 24.0 * 2.0 * std::numbers::pi);
  for (const Change& tap : taps_)
    if (at >= tap.at && (tap.until == 0.0 || at < tap.until)) mains += tap.by;
  for (const Change& lamp : lamps_)
    if (at >= lamp.at && at < lamp.until) mains += lamp.by;
  mains = std::clamp(mains, 0.92, 1.075);
  for (const Dip& sag : sags_)
    if (at >= sag.at && at < sag.at + std::max(sag.seconds, dt)) mains *= 1.0 - sag.depth;
  return mains;
}

void Surroundings::step_room(double dt) {
  const double at = now_.seconds;
  const bool is_heated = is_within(clock_hours(), heating_from_, heating_until_);
  double target = is_heated ? day_celsius_ : day_celsius_ - night_fall_;
  // Radiators are quicker than walls that cool.
  walls_ += (target - walls_) * (1.0 - std::exp(-dt / (is_heated ? room_tau_ * 0.5 : room_tau_)));
  double door = 0.0;
  for (const Change& open : doors_)
    if (at >= open.at && at < open.until) door = open.by;
  door_kelvin_ += (door - door_kelvin_) * (1.0 - std::exp(-dt / (door != 0.0 ? door_tau_seconds * 0.4 : door_tau_seconds)));
  double sun = 0.0;
  for (const Change& shine : suns_)
    if (at >= shine.at && at < shine.until) sun = shine.by;
  sun_kelvin_ += (sun - sun_kelvin_) * (1.0 - std::exp(-dt / sun_tau_seconds));
  const double cycle = is_heated ? thermostat_kelvin_ * std::sin(2.0 * std::numbers::pi * at / thermostat_seconds_) : 0.0;
  const double air = walls_ + door_kelvin_ + cycle + draught_.step(dt, dice_);
  now_.room = air + (is_sun_on_sensor_ ? 0.25 : 1.0) * sun_kelvin_;
  sensor_ += (air + sun_kelvin_ - sensor_) * (1.0 - std::exp(-dt / sensor_tau_));
  now_.room_at_sensor = sensor_;
}

void Surroundings::step_music(double dt) {
  if (music_ == Music::none) return;
  const double at = now_.seconds;
  const double passage = passage_.step(dt, dice_);
  const double left = left_.step(dt, dice_);
  const double right = right_.step(dt, dice_);
  if (at >= block_until_ && at >= break_until_) {
    if (block_until_ > 0.0 && music_ == Music::with_pauses) break_until_ = at + dice_.spread(300.0, 5400.0);
    block_until_ = std::max(at, break_until_) + dice_.uniform(0.6, 3.5) * hour;
  }
  if (at < break_until_) {
    now_.music_left = now_.music_right = 0.0;
    return;
  }
  if (at >= next_track_) {
    pause_until_ = at + dice_.uniform(1.0, 7.0);
    next_track_ = at + dice_.uniform(120.0, 420.0);
    track_level_ = dice_.spread(0.015, 0.1);
    balance_ = dice_.uniform(0.82, 1.2);
  }
  const double level = at < pause_until_ ? 0.0 : track_level_ * std::exp(0.6 * passage);
  now_.music_left = std::min(0.4, level * std::exp(left));
  now_.music_right = std::min(0.4, level * balance_ * std::exp(right));
}

const Moment& Surroundings::step(double dt) {
  now_.seconds += dt;
  now_.mains = mains_at(dt);
  step_room(dt);
  step_music(dt);
  return now_;
}

}  // namespace steadyglow::detection
