#include "demo/bench/line_preamp.hpp"

#include <algorithm>
#include <cmath>

#include "demo/bench/surroundings.hpp"

namespace steadyglow::demo {
namespace {

constexpr double unloaded_raw = 21.6;   ///< V at nominal mains, each side
constexpr double source_ohms = 4.0;
constexpr double load_amperes = 0.245;  ///< constant: the audio stages behind the regulators
constexpr double plus_volts = 15.02;
constexpr double minus_volts = -14.96;
constexpr double dropout_volts = 2.0;
constexpr double rail_per_kelvin = 40e-6;
constexpr double raw_on_tau = 0.3;
constexpr double raw_off_tau = 1.5;
constexpr double regulator_kelvin_per_watt = 8.2;
constexpr double regulator_tau = 12.0 * 60.0;
constexpr double board_kelvin_per_watt = 0.9;
constexpr double board_tau = 18.0 * 60.0;
constexpr double board_usual = 33.0;
constexpr double damage_celsius = 125.0;

constexpr double left_millivolts = 1.3;
constexpr double right_millivolts = -0.8;
constexpr double offset_per_kelvin = 0.03;
constexpr double mute_seconds = 4.0;  ///< the outputs are held at ground after switching on
constexpr double core_watts_nominal = 3.3;

}  // namespace

LinePreamp::LinePreamp(double room_celsius) : regulator_(room_celsius), inside_(room_celsius) {}

double LinePreamp::raw_volts() const { return std::max(0.0, unloaded_raw * mains_ - source_ohms * load_amperes); }

double LinePreamp::rail(double regulated) const {
  const double size = std::fabs(regulated) * (1.0 + rail_per_kelvin * (inside_ - board_usual));
  return std::copysign(std::min(size, std::max(0.0, raw_ - dropout_volts)), regulated);
}

double LinePreamp::regulator_watts() const { return load_amperes * (2.0 * raw_ - rail(plus_volts) + rail(minus_volts)); }

void LinePreamp::step(double dt, double, const Supply& supply) {
  mains_ = supply.volts / supply.nominal_volts;
  const bool is_on = mains_ > 0.0;
  seconds_on_ = is_on ? seconds_on_ + dt : 0.0;
  raw_ = lagged(raw_, is_on ? raw_volts() : 0.0, dt, is_on ? raw_on_tau : raw_off_tau);
  regulator_ = lagged(regulator_, supply.room_celsius + (is_on ? regulator_kelvin_per_watt * regulator_watts() : 0.0), dt, regulator_tau);
  inside_ = lagged(inside_, supply.room_celsius + board_kelvin_per_watt * watts(), dt, board_tau);
}

void LinePreamp::lose_power() { mains_ = 0.0; }

void LinePreamp::apply(const ScriptedFault&) {}  // this one stays well; a welded relay is the bench's business

double LinePreamp::watts() const {
  if (mains_ <= 0.0) return 0.0;
  return core_watts_nominal * mains_ * mains_ + 2.0 * unloaded_raw * mains_ * load_amperes;
}

double LinePreamp::heat_watts() const {
  const double audio = load_amperes * (rail(plus_volts) - rail(minus_volts));
  return core_watts_nominal * mains_ * mains_ + 2.0 * source_ohms * load_amperes * load_amperes + regulator_watts() + audio;
}

Stress LinePreamp::stress() const { return {"regulator", 100.0 * regulator_ / damage_celsius, damage_percent, damage_seconds}; }

std::vector<Signal> LinePreamp::signals() const {
  const bool plays = mains_ > 0.0 && seconds_on_ > mute_seconds;
  const double warm = offset_per_kelvin * (inside_ - board_usual);
  return {
      {"rail_plus_v", "V", rail(plus_volts)},
      {"rail_minus_v", "V", rail(minus_volts)},
      {"output_left_mv", "mV", plays ? left_millivolts + warm : 0.0},
      {"output_right_mv", "mV", plays ? right_millivolts + warm : 0.0},
      {"regulator_c", "Cel", regulator_},
  };
}

}  // namespace steadyglow::demo
