#pragma once
#include <array>
#include <optional>

#include "demo/bench/unit.hpp"

namespace steadyglow::demo {

/// Fennimark 120: class AB stereo amplifier; three output pairs a channel, about 10 mV idle over each 0.22 ohm emitter
/// resistor, rails of about 42 V, 61 W from the mains.
///
/// Idle current from the base spreading voltage: Re I + Vt ln(I/I0) = Re I0 + 2.2 mV/K (T - T0) (1 - tracking) + drift
/// (exponential law of the junction and its -2.2 mV/K, from memory); the sink warms by what the current dissipates, and
/// the bias transistor on the sink takes back most of it: a loop gain of a few hundredths. Figures invented, no source.
class ClassAbAmp final : public Unit {
 public:
  static constexpr double emitter_ohms = 0.22;
  static constexpr double nominal_amperes = 0.0455;
  static constexpr double damage_percent = 100.0;  ///< of a heatsink at 95 degC
  static constexpr double damage_seconds = 60.0;

  explicit ClassAbAmp(double room_celsius);

  void step(double dt, double now, const Supply& supply) override;
  void lose_power() override;
  void apply(const ScriptedFault& fault) override;
  Stress stress() const override;
  std::vector<Signal> signals() const override;
  double watts() const override;
  double power_factor() const override { return 0.78; }

  double heat_watts() const;
  /// Rth dP/dT of one channel as it stands: below 1 it is stable (trade formula; from memory).
  double loop_gain(std::size_t channel) const;

 private:
  struct Channel {
    double amperes = 0.0;
    double sink = 23.0;   ///< degC
    double offset = 0.0;  ///< mV
    std::optional<double> creeps_at;
    double creep_per_second = 0.0;  ///< share of the nominal current
  };
  void step_channel(std::size_t index, double dt, double now, double room);
  double channel_watts(const Channel& channel) const;
  double rail_amperes() const;
  double copper_watts() const;

  std::array<Channel, 2> channels_;  ///< left, right
  double mains_ = 0.0;
  double seconds_on_ = 0.0;
  double rail_plus_ = 0.0;
  double rail_minus_ = 0.0;
  double transformer_;
};

}  // namespace steadyglow::demo
