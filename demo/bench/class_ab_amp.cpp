#include "demo/bench/class_ab_amp.hpp"

#include <algorithm>
#include <cmath>

#include "demo/bench/surroundings.hpp"

namespace steadyglow::demo {
namespace {

// Invented within common practice (no source).
constexpr double pairs = 3.0;
constexpr double unloaded_plus = 42.9;    ///< V at nominal mains
constexpr double unloaded_minus = -42.7;
constexpr double source_ohms = 1.3;       ///< of transformer and rectifier, each rail
constexpr double front_end_amperes = 0.32;  ///< voltage amplifier, drivers, regulators, on both rails
constexpr double nominal_rail = 42.2;
constexpr double driver_share = 0.4;      ///< of the front end that sits on the two heatsinks
constexpr double rails_on_tau = 0.5;
constexpr double rails_off_tau = 9.0;
constexpr double working_rail = 12.0;     ///< V below which no stage works

constexpr double thermal_volts = 0.0259;  ///< kT/q near 300 K
constexpr double volts_per_kelvin = 2.2e-3;
constexpr double tracking = 0.94;
constexpr double bias_set_at = 38.0;      ///< degC of the sink when it was set
constexpr double sink_tau = 25.0 * 60.0;
constexpr double sink_kelvin_per_watt = 0.95;
constexpr double transformer_tau = 70.0 * 60.0;
constexpr double transformer_kelvin_per_watt = 2.2;
constexpr double damage_celsius = 95.0;

constexpr std::array<double, 2> set_share{1.0, 0.975};
constexpr std::array<double, 2> offset_millivolts{5.5, -3.8};
constexpr std::array<double, 2> offset_per_kelvin{0.12, -0.09};
constexpr double offset_start_millivolts = 22.0;
constexpr double offset_start_tau = 4.0;

/// Solves Re I + Vt ln(I/I0) = Re I0 + delta by Newton in ln I; delta in volts.
double idle_amperes(double start, double at_set, double delta) {
  double ln_share = std::log(std::clamp(start / at_set, 1e-6, 1e3));
  for (int i = 0; i < 6; ++i) {
    const double share = std::exp(ln_share);
    const double error = ClassAbAmp::emitter_ohms * at_set * (share - 1.0) + thermal_volts * ln_share - delta;
    ln_share -= error / (ClassAbAmp::emitter_ohms * at_set * share + thermal_volts);
  }
  return at_set * std::exp(ln_share);
}

}  // namespace

ClassAbAmp::ClassAbAmp(double room_celsius) : transformer_(room_celsius) {
  for (Channel& channel : channels_) channel.sink = room_celsius;
}

void ClassAbAmp::step_channel(std::size_t index, double dt, double now, double room) {
  Channel& channel = channels_[index];
  const bool works = mains_ > 0.0 && rail_plus_ > working_rail;
  channel.sink = lagged(channel.sink, room + sink_kelvin_per_watt * (works ? channel_watts(channel) : 0.0), dt, sink_tau);
  if (!works) {
    channel.amperes = 0.0;
    channel.offset = 0.0;
    return;
  }
  const double at_set = nominal_amperes * set_share[index];
  double delta = volts_per_kelvin * (channel.sink - bias_set_at) * (1.0 - tracking);
  if (channel.creeps_at && now > *channel.creeps_at) {
    const double share = std::max(0.05, 1.0 + channel.creep_per_second * (now - *channel.creeps_at));
    delta += emitter_ohms * at_set * (share - 1.0) + thermal_volts * std::log(share);
  }
  channel.amperes = idle_amperes(std::max(channel.amperes, 1e-3), at_set, delta);
  const double start = offset_start_millivolts * std::exp(-seconds_on_ / offset_start_tau);
  channel.offset = offset_millivolts[index] + offset_per_kelvin[index] * (channel.sink - bias_set_at) + start;
}

void ClassAbAmp::step(double dt, double now, const Supply& supply) {
  mains_ = supply.volts / supply.nominal_volts;
  const bool is_on = mains_ > 0.0;
  seconds_on_ = is_on ? seconds_on_ + dt : 0.0;
  const double tau = is_on ? rails_on_tau : rails_off_tau;
  rail_plus_ = lagged(rail_plus_, is_on ? unloaded_plus * mains_ - source_ohms * rail_amperes() : 0.0, dt, tau);
  rail_minus_ = lagged(rail_minus_, is_on ? unloaded_minus * mains_ + source_ohms * rail_amperes() : 0.0, dt, tau);
  for (std::size_t i = 0; i < channels_.size(); ++i) step_channel(i, dt, now, supply.room_celsius);
  const double lost = is_on ? 8.0 * mains_ * mains_ + copper_watts() : 0.0;
  transformer_ = lagged(transformer_, supply.room_celsius + transformer_kelvin_per_watt * lost, dt, transformer_tau);
}

void ClassAbAmp::lose_power() {
  mains_ = 0.0;
  for (Channel& channel : channels_) {
    channel.amperes = 0.0;
    channel.offset = 0.0;
  }
}

void ClassAbAmp::apply(const ScriptedFault& fault) {
  if (fault.kind != FaultKind::bias_creep) return;
  Channel& channel = channels_[fault.is_left ? 0 : 1];
  channel.creeps_at = fault.at;
  channel.creep_per_second = fault.percent_per_hour / 100.0 / 3600.0;
}

double ClassAbAmp::channel_watts(const Channel& channel) const {
  const double span = rail_plus_ - rail_minus_;
  return span * (pairs * channel.amperes + 0.5 * driver_share * front_end_amperes * span / (2.0 * nominal_rail));
}

double ClassAbAmp::rail_amperes() const {
  const double front_end = front_end_amperes * (rail_plus_ - rail_minus_) / (2.0 * nominal_rail);
  return pairs * (channels_[0].amperes + channels_[1].amperes) + front_end;
}

double ClassAbAmp::copper_watts() const {
  constexpr double ohms = 8.0;  // primary and secondary as seen at the rails
  return ohms * rail_amperes() * rail_amperes();
}

double ClassAbAmp::watts() const {
  if (mains_ <= 0.0) return 0.0;
  return 8.0 * mains_ * mains_ + copper_watts() + (unloaded_plus - unloaded_minus) * mains_ * rail_amperes();
}

double ClassAbAmp::heat_watts() const {
  const double span = rail_plus_ - rail_minus_;
  const double elsewhere = span * (1.0 - driver_share) * front_end_amperes * span / (2.0 * nominal_rail);
  return 8.0 * mains_ * mains_ + copper_watts() + channel_watts(channels_[0]) + channel_watts(channels_[1]) + elsewhere +
         2.0 * source_ohms * rail_amperes() * rail_amperes();
}

double ClassAbAmp::loop_gain(std::size_t channel) const {
  const double conductance = 1.0 / (emitter_ohms + thermal_volts / channels_[channel].amperes);
  return sink_kelvin_per_watt * (rail_plus_ - rail_minus_) * pairs * conductance * volts_per_kelvin * (1.0 - tracking);
}

Stress ClassAbAmp::stress() const {
  const bool is_left = channels_[0].sink >= channels_[1].sink;
  return {is_left ? "heatsink left" : "heatsink right", 100.0 * std::max(channels_[0].sink, channels_[1].sink) / damage_celsius, damage_percent, damage_seconds};
}

std::vector<Signal> ClassAbAmp::signals() const {
  constexpr double millivolts = 1000.0 * emitter_ohms;
  return {
      {"idle_left_mv", "mV", millivolts * channels_[0].amperes},
      {"idle_right_mv", "mV", millivolts * channels_[1].amperes},
      {"offset_left_mv", "mV", channels_[0].offset},
      {"offset_right_mv", "mV", channels_[1].offset},
      {"rail_plus_v", "V", rail_plus_},
      {"rail_minus_v", "V", rail_minus_},
      {"heatsink_left_c", "Cel", channels_[0].sink},
      {"heatsink_right_c", "Cel", channels_[1].sink},
      {"transformer_c", "Cel", transformer_},
  };
}

}  // namespace steadyglow::demo
