#include "demo/bench/tube_amp.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "demo/bench/surroundings.hpp"

namespace steadyglow::demo {
namespace {

// All of it invented within common practice (no source); the names say what each does.
constexpr double heater_volts = 6.3;
constexpr double bias_volts = -44.0;
constexpr double unloaded_volts = 461.8;  ///< B+ without load at nominal mains
constexpr double source_ohms = 60.0;      ///< of transformer and rectifier together
constexpr double driver_amperes = 0.012;  ///< what the small tubes draw at nominal B+
constexpr double nominal_b_plus = 452.0;
constexpr double screen_mu = 8.13;        ///< of the control grid over the screen grid
constexpr double target_amperes = 0.038;
constexpr double saturation_amperes = 0.30;  ///< what the cathode can emit
constexpr double grid_feed_ohms = 100e3;
constexpr double first_gas = 8e-6;
constexpr double gas_max = 4e-3;

constexpr double cathode_tau = 7.0;        ///< s, heaters
constexpr double heater_inrush_share = 1.8;  ///< a cold heater draws that much more
constexpr double b_plus_tau = 0.4;         ///< s, charging
constexpr double bleed_tau = 22.0;         ///< s, bleeder on the filter
constexpr double bias_on_tau = 0.3;
constexpr double bias_off_tau = 45.0;      ///< s, longer than the bleeding, so that the tubes stay cut off
constexpr double bulb_tau = 6.0 * 60.0;
constexpr double bulb_share = 0.035;       ///< of the current that comes with the heat
constexpr double climb_hours = 1.1;
constexpr double power_transformer_tau = 75.0 * 60.0;
constexpr double output_transformer_tau = 60.0 * 60.0;
constexpr double power_transformer_kelvin_per_watt = 2.55;
constexpr double output_transformer_kelvin_per_watt = 0.13;  ///< per watt of the whole amplifier, through the chassis

constexpr std::array<double, TubeAmp::tubes> spread{0.986, 0.998, 0.992, 0.981};
constexpr std::array<double, TubeAmp::tubes> climb{0.020, 0.028, 0.024, 0.017};

double perveance_for(double amperes) {
  const double drive = nominal_b_plus / screen_mu + bias_volts;
  return amperes / (drive * std::sqrt(drive));
}

}  // namespace

TubeAmp::TubeAmp(double room_celsius) : power_transformer_(room_celsius), output_transformer_(room_celsius) {
  for (std::size_t i = 0; i < tubes; ++i) {
    tubes_[i].perveance = perveance_for(target_amperes * spread[i]) / (1.0 + climb[i]);
    tubes_[i].new_tube_climb = climb[i];
  }
}

double TubeAmp::cathode_amperes(const Tube& tube) const {
  const double drive = b_plus_ / screen_mu + bias_ + tube.grid_shift;
  if (mains_ <= 0.0 || drive <= 0.0) return 0.0;
  const double climbed = 1.0 + tube.new_tube_climb * (1.0 - std::exp(-hours_run_ / climb_hours));
  const double warm = 1.0 - bulb_share + bulb_share * tube.bulb;
  const double wanted = tube.perveance * climbed * warm * drive * std::sqrt(drive);
  // Below saturation nothing bends; near it the cathode gives what it can.
  const double share = wanted / saturation_amperes;
  const double emission = emission_ * emission_ * emission_;
  return emission * wanted / std::sqrt(std::sqrt(1.0 + share * share * share * share));
}

/// Gas current grows with the heat of the tube, and its grid current heats the tube: that is what accelerates.
void TubeAmp::step_gas(Tube& tube, double dt, double now) const {
  if (tube.gassy_at && now >= *tube.gassy_at && mains_ > 0.0) {
    const double heat = (b_plus_ - tube.amperes * cathode_ohms) * tube.amperes / (nominal_b_plus * target_amperes);
    tube.gas = std::min(gas_max, std::max(tube.gas, first_gas) * std::exp(std::numbers::ln2 * heat * dt / tube.doubling_seconds));
  }
  // Through the feed resistor into the coupling capacitor; the lag also keeps a step of any length stable.
  constexpr double grid_tau = 3.0;
  tube.grid_shift = lagged(tube.grid_shift, tube.gas * tube.amperes * grid_feed_ohms, dt, grid_tau);
}

void TubeAmp::step(double dt, double now, const Supply& supply) {
  mains_ = supply.volts / supply.nominal_volts;
  const bool is_on = mains_ > 0.0;
  if (is_on) hours_run_ += dt / 3600.0;
  emission_ = lagged(emission_, is_on ? 1.0 : 0.0, dt, cathode_tau);
  bias_ = lagged(bias_, bias_volts * mains_, dt, is_on ? bias_on_tau : bias_off_tau);
  const double load = plates_amperes() + driver_amperes * b_plus_ / nominal_b_plus * emission_;
  b_plus_ = lagged(b_plus_, is_on ? std::max(0.0, unloaded_volts * mains_ - source_ohms * load) : 0.0, dt, is_on ? b_plus_tau : bleed_tau);
  for (Tube& tube : tubes_) {
    step_gas(tube, dt, now);
    tube.amperes = cathode_amperes(tube);
    const double heat = (b_plus_ - tube.amperes * cathode_ohms) * tube.amperes / (nominal_b_plus * target_amperes);
    tube.bulb = lagged(tube.bulb, heat, dt, bulb_tau);
  }
  power_transformer_ = lagged(power_transformer_, supply.room_celsius + power_transformer_kelvin_per_watt * (core_watts() + copper_watts()), dt, power_transformer_tau);
  output_transformer_ = lagged(output_transformer_, supply.room_celsius + output_transformer_kelvin_per_watt * watts(), dt, output_transformer_tau);
}

void TubeAmp::lose_power() {
  mains_ = 0.0;
  // The hot tubes pull the filter down to where the bias cuts them off, within 60 ms; from there the bleeder works alone.
  b_plus_ = std::min(b_plus_, -bias_ * screen_mu);
  for (Tube& tube : tubes_) tube.amperes = 0.0;
}

void TubeAmp::apply(const ScriptedFault& fault) {
  if (fault.kind != FaultKind::gassy_tube) return;
  Tube& tube = tubes_[static_cast<std::size_t>(fault.tube - 1)];
  tube.gassy_at = fault.at;
  tube.doubling_seconds = 60.0 * fault.doubling_minutes;
}

double TubeAmp::plates_amperes() const {
  double sum = 0.0;
  for (const Tube& tube : tubes_) sum += tube.amperes;
  return sum;
}

double TubeAmp::dissipation(std::size_t tube) const { return (b_plus_ - tubes_[tube].amperes * cathode_ohms) * tubes_[tube].amperes; }

double TubeAmp::heater_watts() const {
  constexpr double nominal = 4 * 0.9 * heater_volts + 3 * 0.3 * heater_volts;
  return nominal * mains_ * mains_ * (1.0 + heater_inrush_share * (1.0 - emission_));
}

double TubeAmp::core_watts() const { return 9.0 * mains_ * mains_; }

double TubeAmp::copper_watts() const {
  constexpr double nominal = 5.5;
  const double load = plates_amperes() / (tubes * target_amperes);
  return mains_ > 0.0 ? nominal * load * load : 0.0;
}

double TubeAmp::watts() const {
  if (mains_ <= 0.0) return 0.0;
  const double load = plates_amperes() + driver_amperes * b_plus_ / nominal_b_plus * emission_;
  return heater_watts() + core_watts() + copper_watts() + unloaded_volts * mains_ * load;
}

double TubeAmp::heat_watts() const {
  const double driver = driver_amperes * b_plus_ / nominal_b_plus * emission_;
  const double load = plates_amperes() + driver;
  double sum = heater_watts() + core_watts() + copper_watts() + b_plus_ * driver + source_ohms * load * load;
  for (std::size_t i = 0; i < tubes; ++i) sum += dissipation(i) + cathode_ohms * tubes_[i].amperes * tubes_[i].amperes;
  return sum;
}

Stress TubeAmp::stress() const {
  static constexpr std::array<std::string_view, tubes> names{"dissipation of V1", "dissipation of V2", "dissipation of V3", "dissipation of V4"};
  std::size_t worst = 0;
  for (std::size_t i = 1; i < tubes; ++i)
    if (dissipation(i) > dissipation(worst)) worst = i;
  return {names[worst], 100.0 * dissipation(worst) / rated_watts, damage_percent, damage_seconds};
}

std::vector<Signal> TubeAmp::signals() const {
  constexpr double millivolts = 1000.0 * cathode_ohms;
  return {
      {"v1_cathode_mv", "mV", millivolts * tubes_[0].amperes},
      {"v2_cathode_mv", "mV", millivolts * tubes_[1].amperes},
      {"v3_cathode_mv", "mV", millivolts * tubes_[2].amperes},
      {"v4_cathode_mv", "mV", millivolts * tubes_[3].amperes},
      {"b_plus_v", "V", b_plus_},
      {"grid_bias_v", "V", bias_},
      {"heater_v", "V", heater_volts * mains_},
      {"power_transformer_c", "Cel", power_transformer_},
      {"output_transformer_c", "Cel", output_transformer_},
  };
}

}  // namespace steadyglow::demo
