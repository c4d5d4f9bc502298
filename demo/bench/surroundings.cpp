#include "demo/bench/surroundings.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::demo {
namespace {

// Which thing draws from the night's seed; the meters' channels come after these (see meters.cpp).
constexpr std::uint64_t mains_stream = 1;
constexpr std::uint64_t hertz_stream = 2;
constexpr std::uint64_t room_stream = 3;

constexpr double mains_wander_minutes = 90.0;
constexpr double hertz_wander_minutes = 4.0;
constexpr double hertz_sd = 0.015;  // a large synchronous grid: from memory
constexpr double room_wander_minutes = 45.0;
constexpr double room_wander_kelvin = 0.12;
/// A workshop loses its warmth through walls in hours, is heated again in one, and airs in minutes: common experience, no source.
constexpr double cooling_tau = 2.6 * 3600.0;
constexpr double heating_tau = 1.1 * 3600.0;
constexpr double airing_tau = 6.0 * 60.0;
constexpr double room_step = 10.0;

}  // namespace

double lagged(double value, double target, double dt, double tau) { return target + (value - target) * std::exp(-dt / tau); }

Surroundings::Surroundings(const Night& night)
    : mains_(night.mains),
      room_(night.room),
      mains_wander_({night.seed, mains_stream}, night.mains.wander_volts, mains_wander_minutes),
      hertz_wander_({night.seed, hertz_stream}, hertz_sd, hertz_wander_minutes),
      room_wander_({night.seed, room_stream}, room_wander_kelvin, room_wander_minutes),
      room_base_(night.room.evening_celsius) {}

Weather Surroundings::at(double seconds) {
  room_to(seconds);
  return {volts_at(seconds), 50.0 + hertz_wander_.at(seconds), room_base_ + room_extra_ + room_wander_.at(seconds)};
}

double Surroundings::volts_at(double seconds) {
  double volts = mains_.nominal_volts + mains_wander_.at(seconds);
  for (const MainsStep& step : mains_.steps)
    if (seconds >= step.at) volts += step.volts;
  volts = std::clamp(volts, mains_.low_volts, mains_.high_volts);
  for (const MainsSag& sag : mains_.sags)
    if (seconds >= sag.at && seconds < sag.at + sag.seconds) volts *= 1.0 - sag.percent / 100.0;
  for (const MainsFailure& failure : mains_.failures)
    if (seconds >= failure.at && seconds < failure.at + 60.0 * failure.minutes) volts = 0.0;
  return volts;
}

void Surroundings::room_to(double seconds) {
  while (room_at_ + room_step <= seconds) {
    room_at_ += room_step;
    // After the first day the heating keeps its hours.
    const double of_the_day = std::fmod(room_at_, day_seconds);
    const bool is_heated = of_the_day < room_.heating_off_at || of_the_day >= room_.heating_on_at;
    room_base_ = lagged(room_base_, is_heated ? room_.evening_celsius : room_.night_celsius, room_step, is_heated ? heating_tau : cooling_tau);
    double extra = 0.0;
    for (const RoomEvent& event : room_.events)
      if (room_at_ >= event.at && room_at_ < event.at + 60.0 * event.minutes) extra += event.kelvin;
    room_extra_ = lagged(room_extra_, extra, room_step, airing_tau);
  }
}

}  // namespace steadyglow::demo
