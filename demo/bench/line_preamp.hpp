#pragma once
#include "demo/bench/unit.hpp"

namespace steadyglow::demo {

/// Hollin P4: solid-state line preamplifier on regulated rails of 15 V; about 14 W from the mains. Figures invented within
/// common practice, no source.
class LinePreamp final : public Unit {
 public:
  static constexpr double damage_percent = 100.0;  ///< of a regulator at 125 degC
  static constexpr double damage_seconds = 60.0;

  explicit LinePreamp(double room_celsius);

  void step(double dt, double now, const Supply& supply) override;
  void lose_power() override;
  void apply(const ScriptedFault& fault) override;
  Stress stress() const override;
  std::vector<Signal> signals() const override;
  double watts() const override;
  double power_factor() const override { return 0.82; }

  double heat_watts() const;

 private:
  double raw_volts() const;
  double regulator_watts() const;
  double rail(double regulated) const;

  double mains_ = 0.0;
  double seconds_on_ = 0.0;
  double raw_ = 0.0;        ///< V before the regulators, each
  double regulator_;        ///< degC
  double inside_;           ///< degC of the audio board
};

}  // namespace steadyglow::demo
