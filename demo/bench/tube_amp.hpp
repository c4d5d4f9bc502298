#pragma once
#include <array>
#include <optional>

#include "demo/bench/unit.hpp"

namespace steadyglow::demo {

/// Brindlecombe 35: fixed-bias push-pull amplifier with four 25 W tubes; B+ about 452 V, 38 mA each, bias feed about -44 V.
///
/// Cathode current by the three-halves law of a screen-grid tube, I = K (Vg2/mu + Vg1)^1.5 (Child 1911, Langmuir 1913, as every
/// tube handbook has it); bias and B+ come from one mains transformer, so the current follows the mains with a power of
/// about 1.5 and B+ with about 1. The figures of this amplifier are invented within common practice, no source.
class TubeAmp final : public Unit {
 public:
  static constexpr std::size_t tubes = 4;
  static constexpr double rated_watts = 25.0;
  static constexpr double cathode_ohms = 10.0;
  /// A tube that dissipates more than this share of its rating for this long is spoilt. Invented for the demo.
  static constexpr double damage_percent = 200.0;
  static constexpr double damage_seconds = 60.0;

  explicit TubeAmp(double room_celsius);

  void step(double dt, double now, const Supply& supply) override;
  void lose_power() override;
  void apply(const ScriptedFault& fault) override;
  Stress stress() const override;
  std::vector<Signal> signals() const override;
  double watts() const override;
  double power_factor() const override { return 0.93; }

  /// Where the watts go, part by part: in a steady state their sum is watts().
  double heat_watts() const;
  double current(std::size_t tube) const { return tubes_[tube].amperes; }  ///< A
  double dissipation(std::size_t tube) const;                              ///< W, plate and screen together

 private:
  struct Tube {
    double perveance = 0.0;     ///< A / V^1.5
    double new_tube_climb = 0.0;  ///< share by which it climbs in its first hours
    double bulb = 0.0;          ///< 0 cold, 1 at its usual heat
    double grid_shift = 0.0;    ///< V by which grid current moves its grid
    double gas = 0.0;           ///< grid current over cathode current
    double amperes = 0.0;
    std::optional<double> gassy_at;
    double doubling_seconds = 0.0;
  };

  void step_gas(Tube& tube, double dt, double now) const;
  double cathode_amperes(const Tube& tube) const;
  double heater_watts() const;
  double core_watts() const;
  double copper_watts() const;
  double plates_amperes() const;

  std::array<Tube, tubes> tubes_;
  double mains_ = 0.0;      ///< share of nominal
  double emission_ = 0.0;   ///< 0 cold cathodes, 1 hot ones
  double hours_run_ = 0.0;
  double b_plus_ = 0.0;     ///< V
  double bias_ = 0.0;       ///< V, negative
  double power_transformer_;   ///< degC
  double output_transformer_;  ///< degC
};

}  // namespace steadyglow::demo
