/// Class A, and a thing nobody has a profile for: heat that takes hours.
#include "bench/detection/parts.hpp"
#include "bench/detection/units.hpp"

namespace steadyglow::detection {
namespace {

class ClassA : public Unit {
 public:
  explicit ClassA(std::uint64_t seed) : Unit(seed), transformer_(dice.uniform(20.0, 36.0), dice.uniform(70.0, 150.0) * 60.0) {
    warm_up_minutes = 120.0;
    rail_ = dice.uniform(20.0, 30.0);
    ohms_ = dice.chance(0.5) ? 0.33 : 0.47;
    const double idle = dice.uniform(0.8, 1.6);
    has_fan_ = dice.chance(0.3);
    for (Side* side : {&left_, &right_}) {
      side->amps_nominal = idle * dice.uniform(0.96, 1.04);
      side->per_kelvin = dice.uniform(-0.0015, 0.002);
      side->sink = {.tau = dice.uniform(30.0, 65.0) * 60.0, .rise_nominal = dice.uniform(25.0, 32.0) * (has_fan_ ? 0.75 : 1.0), .watts_nominal = 2.0 * rail_ * idle};
      side->offset_mv = dice.uniform(-15.0, 15.0);
      side->offset_per_kelvin = dice.uniform(-0.9, 0.9);
      side->wander = Wander(dice.uniform(0.001, 0.004), dice.uniform(1.0, 4.0) * 3600.0);
    }
    source_ohms_ = dice.uniform(0.4, 1.0);
    watts_nominal_ = 10.0 + 2.0 * rail_ * (left_.amps_nominal + right_.amps_nominal) * 1.1;
    add_points(idle);
    add_faults();
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    const double nominal = left_.amps_nominal + right_.amps_nominal;
    plus_ += (rail_ * moment.mains - source_ohms_ * (left_.amps + right_.amps - nominal) - plus_) * (1.0 - std::exp(-dt / 2.0));
    for (Side* side : {&left_, &right_}) {
      side->wander.step(dt, dice);
      side->amps = side->amps_nominal * (1.0 + side->per_kelvin * (side->sink.celsius - 52.0) + side->wander.value() + side->bias) * std::pow(std::max(0.3, plus_ / rail_), 0.25);
      if (has_fan_) side->sink.resistance_factor = side->air * (1.0 + 0.55 * std::min(1.0, fan_stopped_));
      else side->sink.resistance_factor = side->air;
      side->sink.step(dt, moment.room, 2.0 * plus_ * side->amps);
    }
    watts = 10.0 * std::pow(moment.mains, 2.5) + 2.0 * plus_ * (left_.amps + right_.amps) * 1.1 + transformer_.shorted_watts;
    transformer_.step(dt, moment.room, moment.mains, watts / watts_nominal_, 12.0);
  }

 private:
  struct Side {
    double amps_nominal = 1.0, per_kelvin = 0.0, offset_mv = 0.0, offset_per_kelvin = 0.0;
    double bias = 0.0, air = 1.0, offset_shift = 0.0;  // knobs
    double amps = 0.0;
    Body sink;
    Wander wander{0.002, 8000.0};
    double offset() const { return offset_mv + offset_shift + offset_per_kelvin * (sink.celsius - 52.0); }
  };

  void add_side(const std::string& name, const std::string& other, Side& side, double idle) {
    const double target = rounded(idle * ohms_ * 1e3);
    add("idle_" + name + "_mv", "voltage", "mV", "bias", [this, &side] { return side.amps * ohms_ * 1e3; }, {.sigma_ratio = 0.001, .resolution = 0.1, .has_clip = true})
        .expects(target).warns(rounded(target * 0.85), rounded(target * 1.15)).trips({}, rounded(target * 1.35)).matches({"idle_" + other + "_mv"}).senses(ohms_);
    add_temperature("sink_" + name, "heatsink", [&side] { return side.sink.celsius; }).warns({}, 66.0).trips({}, 75.0).matches({"sink_" + other});
    add("offset_" + name + "_mv", "voltage", "mV", "offset", [&side] { return side.offset(); }, {.sigma = 0.1, .resolution = 0.1, .has_clip = true}).expects(0.0).warns(-60.0, 60.0).trips(-300.0, 300.0).scaled(180.0);
    knobs[name + ".bias"] = &side.bias;
    knobs[name + ".air"] = &side.air;
    knobs[name + ".offset"] = &side.offset_shift;
    stresses.push_back({[&side] { return side.sink.celsius; }, 88.0, 600.0});
  }
  void add_points(double idle) {
    add_side("left", "right", left_, idle);
    add_side("right", "left", right_, idle);
    add("rail", "voltage", "V", "supply", [this] { return plus_; }, {.sigma = 0.01, .resolution = 0.01, .has_clip = true}).expects(rounded(rail_, 3)).warns(rounded(rail_ * 0.91), rounded(rail_ * 1.1));
    add_temperature("transformer", "transformer", [this] { return transformer_.surface(); }).warns({}, 85.0).trips({}, 95.0);
    add_usual(watts_nominal_);
    knobs["fan"] = &fan_stopped_;
    knobs["shorted"] = &transformer_.shorted_watts;
    stresses.push_back({[this] { return transformer_.surface(); }, 105.0, 600.0});
  }
  void add_faults() {
    const bool is_left = dice.chance(0.5);
    const std::string name = is_left ? "left" : "right";
    const std::vector<std::string> heat{"rise", "drift", "imbalance", "limit", "runaway"};
    faults.push_back({"idle current drifts", Shape::ramp, name + ".bias", dice.chance(0.6) ? 0.1 : -0.1, {"idle_" + name + "_mv", "sink_" + name}, {"drift", "imbalance", "limit", "runaway"}, 0.9});
    faults.push_back({"dirty trimmer", Shape::jumping, name + ".bias", 0.12, {"idle_" + name + "_mv"}, {"step", "intermittent", "imbalance", "drift", "limit"}});
    faults.push_back({"blocked air", Shape::ramp, name + ".air", 0.1, {"sink_" + name}, heat, 1.5});
    faults.push_back({"pad slackens", Shape::ramp, name + ".air", -0.1, {"sink_" + name}, heat, 0.3});
    if (has_fan_) faults.push_back({"fan stops", Shape::step, "fan", 1.0, {"sink_left", "sink_right"}, {"rise", "drift", "limit", "runaway", "step"}});
    faults.push_back({"offset drifts", Shape::ramp, name + ".offset", 18.0, {"offset_" + name + "_mv"}, {"drift", "limit", "imbalance", "runaway"}, 1.5});
    faults.push_back({"shorted turns", Shape::growing, "shorted", 2.0, {"transformer", "mains_w"}, {"rise", "drift", "limit", "runaway"}, 3.0});
  }

  double rail_ = 25.0, ohms_ = 0.33, source_ohms_ = 0.6, watts_nominal_ = 120.0, plus_ = 0.0, fan_stopped_ = 0.0;
  bool has_fan_ = false;
  Side left_, right_;
  Transformer transformer_;
};

/// A box with generic points: a supply, a current, an oven that takes hours, a sink.
class UnknownThing : public Unit {
 public:
  explicit UnknownThing(std::uint64_t seed) : Unit(seed) {
    volts_ = dice.spread(6.0, 300.0);
    amps_ = dice.spread(0.02, 1.5);
    mains_power_ = dice.chance(0.5) ? dice.uniform(0.0, 0.1) : dice.uniform(0.6, 1.4);
    room_share_ = dice.uniform(-0.001, 0.001);
    climb_ = dice.uniform(-0.03, 0.05);
    climb_tau_ = dice.uniform(1.0, 3.5) * 3600.0;
    watts_nominal_ = volts_ * amps_ * 1.3 + 8.0;
    box_ = {.tau = dice.uniform(2.0, 3.2) * 3600.0, .rise_nominal = dice.uniform(10.0, 24.0), .watts_nominal = watts_nominal_};
    sink_ = {.tau = dice.uniform(12.0, 40.0) * 60.0, .rise_nominal = dice.uniform(10.0, 22.0), .watts_nominal = volts_ * amps_};
    wander_ = Wander(dice.uniform(0.001, 0.004), dice.uniform(1.0, 4.0) * 3600.0);
    const double milliamps = rounded(amps_ * 1e3);
    add("p1", "voltage", "V", "other", [this] { return out_; }, {.sigma_ratio = 0.0008, .resolution = volts_ < 20.0 ? 0.001 : 0.01, .has_clip = true}).expects(rounded(volts_)).warns(rounded(volts_ * 0.9), rounded(volts_ * 1.1));
    Probe& current = add("p2", "current", "mA", "other", [this] { return milliamps_; }, {.sigma_ratio = 0.003, .resolution = 0.01, .has_clip = true});
    current.expects(milliamps).warns(rounded(milliamps * 0.8), rounded(milliamps * 1.2));
    if (dice.chance(0.5)) current.trips({}, rounded(milliamps * 1.5));
    add_temperature("p3", "other", [this] { return box_.celsius; }).warns({}, 75.0);
    add_temperature("p4", dice.chance(0.5) ? "heatsink" : "chassis", [this] { return sink_.celsius; }).warns({}, 80.0);
    add_usual(watts_nominal_);
    knobs["volts"] = &volts_shift_;
    knobs["amps"] = &amps_shift_;
    knobs["box"] = &box_.resistance_factor;
    knobs["sink"] = &sink_.resistance_factor;
    knobs["dropout"] = &dropout_;
    const double sign = dice.chance(0.5) ? 1.0 : -1.0;
    faults.push_back({"supply drifts", Shape::ramp, "volts", sign * 0.1, {"p1"}, {"drift", "limit", "runaway"}, 0.3});
    faults.push_back({"current rises", Shape::growing, "amps", 0.1, {"p2", "p4"}, {"drift", "limit", "runaway", "rise"}, 0.8});
    faults.push_back({"current drifts", Shape::ramp, "amps", sign * 0.1, {"p2"}, {"drift", "limit", "runaway"}, 0.5});
    faults.push_back({"blocked air", Shape::ramp, "sink", 0.1, {"p4"}, {"rise", "drift", "limit", "runaway"}, 0.8});
    faults.push_back({"lagging comes loose", Shape::ramp, "box", -0.1, {"p3"}, {"rise", "drift", "limit", "runaway"}, 0.4});
    faults.push_back({"joint crackles", Shape::bursts, "dropout", 0.6, {"p2"}, {"intermittent", "step", "limit"}});
    faults.push_back({"supply steps", Shape::step, "volts", sign * dice.uniform(0.05, 0.3), {"p1"}, {"step", "drift", "limit"}});
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    age_ += dt;
    wander_.step(dt, dice);
    const double settled = 1.0 - climb_ * std::exp(-age_ / climb_tau_);
    out_ = volts_ * std::pow(moment.mains, mains_power_) * (1.0 + volts_shift_ + 0.3 * wander_.value());
    const double amps = amps_ * settled * std::pow(out_ / volts_, 1.3) * (1.0 + amps_shift_ + wander_.value() + room_share_ * (moment.room - 22.0)) * (1.0 - std::min(1.0, dropout_));
    milliamps_ = amps * 1e3;
    watts = 8.0 * std::pow(moment.mains, 2.5) + out_ * amps * 1.3;
    box_.step(dt, moment.room, watts);
    sink_.step(dt, moment.room, out_ * amps);
  }

 private:
  double volts_ = 12.0, amps_ = 0.1, mains_power_ = 1.0, room_share_ = 0.0, climb_ = 0.0, climb_tau_ = 4000.0, watts_nominal_ = 20.0, age_ = 0.0;
  double volts_shift_ = 0.0, amps_shift_ = 0.0, dropout_ = 0.0, out_ = 0.0, milliamps_ = 0.0;
  Body box_, sink_;
  Wander wander_{0.002, 8000.0};
};

}  // namespace

std::unique_ptr<Unit> class_a_amp(std::uint64_t seed) { return std::make_unique<ClassA>(seed); }
std::unique_ptr<Unit> unknown_thing(std::uint64_t seed) { return std::make_unique<UnknownThing>(seed); }

}  // namespace steadyglow::detection
