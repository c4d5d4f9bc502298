#pragma once
/// A unit on the bench: circuits with state that follow mains, room and programme; where it is measured; how it can fail.
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "bench/detection/surroundings.hpp"

namespace steadyglow::detection {

/// What a change of a point is compared with when its effect is stated in percent.
enum class Against { value, rise, fixed };

struct MeterTraits {
  double sigma = 0.0;        ///< noise, in uom
  double sigma_ratio = 0.0;  ///< noise, of the reading
  double resolution = 0.0;   ///< in uom
  bool has_clip = false;     ///< a lead that can bounce or fall
};

/// One measuring point as a technician enters it, and the truth behind it.
struct Probe {
  std::string name;
  std::string quantity;
  std::string uom;
  std::string role;
  std::optional<double> nominal;
  std::optional<double> warn_low, warn_high, trip_low, trip_high, sense_ohms;
  std::vector<std::string> matched_with;
  std::function<double()> value;
  MeterTraits meter;
  Against against = Against::value;
  double fixed_scale = 1.0;  ///< in uom, what 100 % of effect is

  Probe& expects(double value_in_uom) { return nominal = value_in_uom, *this; }
  Probe& warns(std::optional<double> low, std::optional<double> high) { return warn_low = low, warn_high = high, *this; }
  Probe& trips(std::optional<double> low, std::optional<double> high) { return trip_low = low, trip_high = high, *this; }
  Probe& matches(std::vector<std::string> others) { return matched_with = std::move(others), *this; }
  Probe& senses(double ohms) { return sense_ohms = ohms, *this; }
  Probe& scaled(double uom_per_whole) { return against = Against::fixed, fixed_scale = uom_per_whole, *this; }
  bool is_temperature() const { return quantity == "temperature"; }
};

/// How a fault moves the knobs of the physics over time.
enum class Shape {
  ramp,      ///< evenly, at a drawn rate
  growing,   ///< slowly first, then faster
  step,      ///< at once
  jumping,   ///< to and fro between drawn levels
  bursts     ///< short absences that come more and more often
};

/// One way in which a unit fails.
struct Fault {
  std::string name;
  Shape shape = Shape::ramp;
  std::string knob;
  double per_tenth = 0.0;           ///< of the knob, for 10 % of effect; for step, jumping and bursts: the whole of it
  std::vector<std::string> points;  ///< any of these is right
  std::vector<std::string> kinds;   ///< any of these words is right
  double effect_max = 0.6;          ///< largest drawn effect (ramps)
  double effect_min = 0.035;        ///< smallest drawn effect: what runs away has no small size
};

/// A part that dies when `value` stays above `limit` for `seconds`: from memory and common practice, no source.
struct Stress {
  std::function<double()> value;
  double limit;
  double seconds;
  double over_for = 0.0;
};

class Unit {
 public:
  explicit Unit(std::uint64_t seed) : dice(seed) {}
  Unit(const Unit&) = delete;
  Unit& operator=(const Unit&) = delete;
  virtual ~Unit() = default;
  virtual void step(double dt, const Moment& moment) = 0;

  double& knob(const std::string& name) const {
    const auto found = knobs.find(name);
    if (found == knobs.end()) throw std::out_of_range("no knob " + name);
    return *found->second;
  }
  /// True once something has been beyond its limit for too long.
  bool is_damaged(double dt) {
    for (Stress& stress : stresses) {
      stress.over_for = stress.value() > stress.limit ? stress.over_for + dt : 0.0;
      if (stress.over_for > stress.seconds) return true;
    }
    return false;
  }
  Probe& add(std::string name, std::string quantity, std::string uom, std::string role, std::function<double()> value, MeterTraits meter) {
    Probe probe;
    probe.name = std::move(name);
    probe.quantity = std::move(quantity);
    probe.uom = std::move(uom);
    probe.role = std::move(role);
    probe.value = std::move(value);
    probe.meter = meter;
    if (probe.quantity == "temperature") probe.against = Against::rise;
    probes.push_back(std::move(probe));
    return probes.back();
  }
  Probe& add_temperature(std::string name, std::string role, std::function<double()> celsius) {
    return add(std::move(name), "temperature", "Cel", std::move(role), std::move(celsius), {.sigma = 0.05, .resolution = temperature_resolution});
  }
  /// Mains volts, watts and room, as most benches have them; a bench of another kind lacks one.
  void add_usual(double watts_nominal);

  Dice dice;
  std::string kind;
  std::string drive = "idle";
  double nominal_volts = 230.0;
  double warm_up_minutes = 60.0;
  std::vector<Probe> probes;
  std::vector<Fault> faults;
  std::vector<Stress> stresses;
  std::map<std::string, double*> knobs;
  double watts = 0.0;
  Moment seen;
  double temperature_resolution = 0.1;
  bool is_deaf_to_room = false;   ///< nobody hung up a thermometer
  bool is_deaf_to_mains = false;  ///< no mains voltage
  bool is_deaf_to_watts = false;
};

/// Every kind of unit, by name.
using Factory = std::function<std::unique_ptr<Unit>(std::uint64_t seed)>;
const std::vector<std::pair<std::string, Factory>>& unit_kinds();
std::unique_ptr<Unit> make_unit(const std::string& kind, std::uint64_t seed);

/// A figure as somebody would write it down: two digits.
double rounded(double value, int digits = 2);

}  // namespace steadyglow::detection
