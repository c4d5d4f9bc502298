#pragma once
/// What the bench knows of any unit under test: its signals, and how near it is to damage.
#include <memory>
#include <string_view>
#include <vector>

#include "demo/bench/night.hpp"

namespace steadyglow::demo {

/// What a unit feels during one step.
struct Supply {
  double volts = 0.0;  ///< at the unit's inlet: 0 behind an open relay
  double room_celsius = 23.0;
  double nominal_volts = 230.0;
};

struct Signal {
  std::string_view name;  ///< as in the unit's profile
  std::string_view uom;
  double value = 0.0;
};

/// How far the unit is from the point where something in it would be spoilt.
struct Stress {
  std::string_view what;         ///< "dissipation of V3"
  double percent = 0.0;          ///< of the rating, worst part, now
  double damage_percent = 0.0;   ///< beyond this ...
  double damage_seconds = 0.0;   ///< ... for this long it is spoilt
};

class Unit {
 public:
  virtual ~Unit() = default;
  Unit() = default;
  Unit(const Unit&) = delete;
  Unit& operator=(const Unit&) = delete;

  virtual void step(double dt, double now, const Supply& supply) = 0;
  /// The relay opened: what falls at once falls now.
  virtual void lose_power() = 0;
  virtual void apply(const ScriptedFault& fault) = 0;
  virtual Stress stress() const = 0;

  /// The signals that follow from the state; mains signals excepted, which belong to the meter.
  virtual std::vector<Signal> signals() const = 0;
  virtual double watts() const = 0;
  /// Real power over apparent power while on.
  virtual double power_factor() const = 0;
};

std::unique_ptr<Unit> make_unit(Model model, double room_celsius);

}  // namespace steadyglow::demo
