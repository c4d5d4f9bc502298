#pragma once
/// Parts that units are made of. Currents in A, volts, watts, ohms, degC, seconds, unless a name says otherwise.
#include "bench/detection/dice.hpp"

namespace steadyglow::detection {

/// A body that follows the room and its own heat with one time constant. Natural convection carries away more per kelvin
/// the hotter it is: the rise goes with about the power 0.85 of the heat (laminar plate, exponent 1/1.25; from memory).
struct Body {
  double tau = 1800.0;
  double rise_nominal = 20.0;  ///< K at watts_nominal
  double watts_nominal = 10.0;
  double celsius = 22.0;
  double resistance_factor = 1.0;  ///< 1: as built; more: dust, a cloth, a stopped fan
  bool is_begun = false;

  void step(double dt, double room, double watts) {
    if (!is_begun) celsius = room;
    is_begun = true;
    const double rise = rise_nominal * resistance_factor * std::pow(std::max(watts, 1e-6) / watts_nominal, 0.85);
    celsius += (room + rise - celsius) * (1.0 - std::exp(-dt / tau));
  }
};

/// A transformer: the winding heats the iron, the iron is felt outside; both are heavy.
struct Transformer {
  Body iron;
  double winding = 0.0;  ///< K above the iron
  double winding_tau = 600.0;
  double shorted_watts = 0.0;  ///< knob: in shorted turns

  Transformer(double rise, double tau) { iron = {.tau = tau, .rise_nominal = rise, .watts_nominal = 1.0}; }
  /// `load`: watts of the load, of nominal. Iron losses go with the cube of the mains or so near saturation, copper
  /// losses with the square of the current (from memory).
  void step(double dt, double room, double mains, double load, double loss_watts_nominal) {
    const double current = load / std::max(mains, 0.3);
    const double loss = 0.4 * std::pow(mains, 3.0) + 0.6 * current * current + shorted_watts / loss_watts_nominal;
    winding += (8.0 * loss - winding) * (1.0 - std::exp(-dt / winding_tau));
    iron.step(dt, room, loss);
  }
  double surface() const { return iron.celsius; }
};

/// An output valve: three-halves law with the screen's pull and the grid's hold, a cathode that must be hot, an emission
/// that settles for hours, and a grid that may carry current (three-halves law: Child 1911, Langmuir 1913; the figures are
/// typical of the size, from memory).
struct Valve {
  double amps_nominal = 0.038;
  double volts_nominal = 440.0;  ///< of the electrode that pulls: screen, or plate of a triode
  double mu = 8.0;
  double grid_nominal = -44.0;
  double grid_leak = 150e3;
  double climb = 0.03;
  double climb_tau = 4000.0;
  double cathode_tau = 14.0;
  Wander wander{0.003, 9000.0};
  // knobs
  double emission = 1.0;
  double gas_microamps = 0.0;   ///< grid current at nominal plate current and glass heat
  double leak_volts = 0.0;      ///< lift of the grid by a leaking coupling capacitor, chassis at 45 degC
  double heater = 1.0;          ///< of what the socket gives
  double screen_loss = 0.0;     ///< 1: screen resistor open
  double cathode_open = 0.0;    ///< 1: cathode resistor open
  double flash = 0.0;           ///< 1: an arc
  // state
  double cathode = 0.0;
  double glass = 0.0;  ///< heat of the glass, of nominal
  double age = 0.0;
  double amps = 0.0;
  double screen_gone = 0.0;

  double drive_nominal() const { return volts_nominal / mu + grid_nominal; }
  /// Grid as the valve sees it: the feed, lifted by grid current and by leakage.
  double grid(double feed, double chassis) const {
    const double lift_by_gas = gas_microamps * 1e-6 * grid_leak * (amps / amps_nominal) * std::exp(1.2 * (std::min(glass, 4.0) - 1.0));
    const double lift_by_leak = leak_volts * std::exp2((chassis - 45.0) / 10.0);
    return std::min(feed + lift_by_gas + lift_by_leak, 0.0);
  }
  double hot() const { return std::pow(std::max(cathode, 0.0), 0.35) / (1.0 + std::exp(-(cathode - 0.72) / 0.045)); }
  double amps_at(double volts, double grid_volts) const {
    const double drive = std::max(0.0, volts / mu + grid_volts) / drive_nominal();
    const double law = amps_nominal * std::pow(drive, 1.5) * emission * hot();
    const double settled = 1.0 - climb * std::exp(-age / climb_tau);
    const double cut = (1.0 - 0.65 * screen_gone) * (1.0 - std::min(1.0, cathode_open));
    return std::min(law * settled * (1.0 + wander.value()) * cut, 6.0 * amps_nominal);
  }
  void begin_step(double dt, double heater_ratio, Dice& dice) {
    age += dt;
    cathode += (heater_ratio * heater - cathode) * (1.0 - std::exp(-dt / cathode_tau));
    screen_gone += (std::min(1.0, screen_loss) - screen_gone) * (1.0 - std::exp(-dt / 4.0));
    wander.step(dt, dice);
  }
  void end_step(double dt, double amps_now, double plate_volts, double plate_nominal) {
    amps = amps_now;
    const double heat = amps / amps_nominal * plate_volts / plate_nominal;
    glass += (heat - glass) * (1.0 - std::exp(-dt / 240.0));
  }
};

/// One channel of a class AB output stage: junctions, heatsink, and a bias transistor that feels the heatsink.
struct OutputStage {
  double emitter_ohms = 0.22;
  double pairs = 1.0;
  double idle_nominal = 0.045;   ///< A per pair, warm
  double rail_nominal = 42.0;
  double tracking = 0.85;        ///< of the junctions' -2.2 mV/K that the bias transistor takes back
  double junction_kelvin_per_watt = 1.1;  ///< of one device
  double driver_watts = 2.0;
  double load_ohms = 8.0;
  Body sink;
  Wander wander{0.004, 8000.0};
  // knobs
  double bias_shift_mv = 0.0;
  double tracking_loss = 0.0;    ///< 1: the bias transistor has come off its heatsink
  double emitter_open = 0.0;
  double mica = 0.0;             ///< K/W more between junction and sink: the sink stays cooler than the parts
  // state
  double junction = 0.0;         ///< K over the sink
  double idle = 0.0;
  double music_amps = 0.0;
  double heat = 0.0;

  static constexpr double thermal_volts = 0.026;
  static constexpr double volts_per_kelvin = 2.2e-3;  ///< of a base-emitter junction (handbook figure, from memory)
  static constexpr double reference_room = 23.0;

  double idle_heat_nominal() const { return 2.0 * rail_nominal * idle_nominal * pairs + driver_watts; }
  /// Electro-thermal loop gain: what a kelvin makes of the heat and the heat of the kelvins; 1 and more runs away.
  double loop_gain(double amps) const {
    const double watts_per_kelvin = 2.0 * rail_nominal * volts_per_kelvin / (emitter_ohms + thermal_volts / amps);
    const double sink_kelvin_per_watt = sink.rise_nominal / sink.watts_nominal;
    return watts_per_kelvin * (pairs * sink_kelvin_per_watt * (1.0 - tracking) + 0.5 * junction_kelvin_per_watt);
  }
  /// Idle current where emitter resistors and junctions share what the bias gives, by Newton's rule in ln I.
  void solve(double bias_volts) {
    const double want = idle_nominal * emitter_ohms + thermal_volts * std::log(idle_nominal) + bias_volts;
    double y = std::log(std::max(idle, 1e-4));
    for (int i = 0; i < 6; ++i) {
      const double x = std::exp(y);
      y -= std::clamp((x * emitter_ohms + thermal_volts * y - want) / (x * emitter_ohms + thermal_volts), -1.0, 1.0);
    }
    idle = std::clamp(std::exp(y), 1e-5, 4.0);
  }
  void step(double dt, double room, double rail, double music, Dice& dice) {
    wander.step(dt, dice);
    const double sink_reference = reference_room + sink.rise_nominal;
    const double junction_reference = junction_kelvin_per_watt * idle_heat_nominal() * 0.5 / pairs;
    const double warmer = sink.celsius + junction - sink_reference - junction_reference;
    // A bias transistor that has come off the heatsink feels more and more of the room.
    const double felt = tracking * (sink.celsius - tracking_loss * (sink.celsius - room) - sink_reference);
    solve(bias_shift_mv * 1e-3 + volts_per_kelvin * (warmer - felt) + thermal_volts * wander.value() * 1.6);
    const double peak = music * rail * 0.8;
    music_amps = peak / (3.14159 * load_ohms);
    const double working = pairs * (1.0 - std::min(1.0, emitter_open) / pairs);
    heat = 2.0 * rail * idle * working + driver_watts + std::max(0.0, 2.0 * rail * music_amps - peak * peak / (2.0 * load_ohms));
    junction += ((junction_kelvin_per_watt + mica) * heat * 0.5 / pairs - junction) * (1.0 - std::exp(-dt / 25.0));
    // What a poor joint keeps in the parts, the sink still gets in the end: only the bias transistor is late.
    sink.step(dt, room, heat);
  }
  /// DC over the measured emitter resistor, in mV; an open one shows what the driver gives.
  double emitter_mv() const { return emitter_open >= 1.0 ? 430.0 : (idle + music_amps / pairs) * emitter_ohms * 1e3; }
  double supply_amps() const { return idle * pairs * (1.0 - std::min(1.0, emitter_open) / pairs) + music_amps + driver_watts / (2.0 * rail_nominal); }
};

/// A voltage regulator: holds its volts until the raw supply comes too low, drifts with its own heat.
struct Regulator {
  double volts_nominal = 15.0;
  double headroom = 1.25;   ///< raw supply, of what it needs, at nominal mains
  double line = 0.01;       ///< exponent of the mains that is left
  double per_kelvin = 5e-5;
  double amps = 0.2;
  Body body{.tau = 1500.0, .rise_nominal = 25.0, .watts_nominal = 2.0};
  Wander wander{0.0003, 9000.0};
  // knobs
  double shift = 0.0;         ///< of its volts
  double extra_watts = 0.0;
  double raw_loss = 0.0;      ///< of the raw supply: an ageing reservoir
  double gone = 0.0;          ///< 1: short or open, no volts
  // state
  double volts = 0.0;

  void step(double dt, double room, double mains, Dice& dice) {
    wander.step(dt, dice);
    const double raw = volts_nominal * headroom * mains * (1.0 - raw_loss) * 1.15;
    const double heat = std::max(0.0, raw - volts) * amps + extra_watts + 0.3;
    body.step(dt, room, heat);
    const double held = volts_nominal * (1.0 + shift + wander.value() + per_kelvin * (body.celsius - 48.0)) * std::pow(std::max(0.3, mains), line);
    volts = std::min(held, std::max(0.0, raw - 0.1 * volts_nominal)) * (1.0 - std::min(1.0, gone));
  }
};

}  // namespace steadyglow::detection
