/// Line-level units on regulated rails: preamplifiers, tuner, disc player, crossover.
#include "bench/detection/parts.hpp"
#include "bench/detection/units.hpp"

namespace steadyglow::detection {
namespace {

/// What all of them have: a case, a transformer, one or two regulators.
class LineUnit : public Unit {
 public:
  LineUnit(std::uint64_t seed, double watts_nominal, std::vector<double> rails) : Unit(seed), transformer_(dice.uniform(10.0, 22.0), dice.uniform(50.0, 110.0) * 60.0) {
    watts_nominal_ = watts_nominal * dice.uniform(0.85, 1.15);
    warm_up_minutes = 30.0;
    case_ = {.tau = dice.uniform(30.0, 70.0) * 60.0, .rise_nominal = dice.uniform(7.0, 15.0), .watts_nominal = watts_nominal_};
    const double rise = dice.uniform(15.0, 26.0), tau = dice.uniform(8.0, 25.0) * 60.0, headroom = dice.uniform(1.2, 1.5);
    for (const double volts : rails) {
      Regulator regulator;
      regulator.volts_nominal = std::fabs(volts) * dice.uniform(0.99, 1.01);
      regulator.headroom = headroom;
      regulator.line = dice.spread(0.001, 0.03);
      regulator.per_kelvin = dice.uniform(-2e-4, 2e-4);
      regulator.amps = std::min(1.0, 0.25 * watts_nominal_ / std::fabs(volts));
      regulator.body = {.tau = tau, .rise_nominal = rise, .watts_nominal = regulator.volts_nominal * (headroom * 1.15 - 1.0) * regulator.amps + 0.3};
      regulator.wander = Wander(dice.uniform(0.0001, 0.0006), dice.uniform(1.0, 4.0) * 3600.0);
      regulators_.push_back(regulator);
      signs_.push_back(volts < 0.0 ? -1.0 : 1.0);
    }
    regulators_.front().body.rise_nominal = rise;
  }

  void step(double dt, const Moment& moment) final {
    seen = moment;
    double loads = 0.0;
    for (Regulator& regulator : regulators_) {
      regulator.step(dt, case_.celsius, moment.mains, dice);
      loads += regulator.volts / regulator.volts_nominal;
    }
    const double share = loads / static_cast<double>(regulators_.size());
    watts = watts_nominal_ * (0.3 * std::pow(moment.mains, 2.5) + 0.7 * share * std::pow(moment.mains, 1.05)) + extra_watts() + transformer_.shorted_watts + regulators_.front().extra_watts;
    case_.step(dt, moment.room, watts);
    transformer_.step(dt, moment.room, moment.mains, watts / watts_nominal_, 3.0);
    run(dt);
  }

 protected:
  virtual void run(double dt) = 0;
  virtual double extra_watts() const { return 0.0; }

  void add_rail(std::size_t i, const std::string& name, double warn_share = 0.04) {
    Regulator& regulator = regulators_[i];
    const double sign = signs_[i], volts = regulator.volts_nominal, digits = volts > 100.0 ? 0.1 : volts > 20.0 ? 0.01 : 0.001;
    const double target = rounded(volts, 3);
    Probe& probe = add(name, "voltage", "V", "supply", [&regulator, sign] { return sign * regulator.volts; }, {.sigma = digits * dice.uniform(0.5, 2.0), .resolution = digits, .has_clip = true});
    probe.expects(sign * target);
    if (sign > 0.0) probe.warns(target * (1.0 - warn_share), target * (1.0 + warn_share));
    else probe.warns(-target * (1.0 + warn_share), -target * (1.0 - warn_share));
    knobs[name] = &regulator.shift;
    knobs[name + ".raw"] = &regulator.raw_loss;
    knobs[name + ".gone"] = &regulator.gone;
    const double sag = 1.0 - 1.12 / (regulator.headroom * 1.15);
    faults.push_back({"regulator drifts", Shape::ramp, name, dice.chance(0.5) ? 0.1 : -0.1, {name}, {"drift", "limit"}, 0.2});
    faults.push_back({"reservoir dries out", Shape::ramp, name + ".raw", sag, i == 0 ? std::vector<std::string>{name, "regulator"} : std::vector<std::string>{name}, {"drift", "limit", "mains", "step", "rise"}, 0.12, 0.1});
    faults.push_back({"rail lost", Shape::step, name + ".gone", 1.0, {name}, {"step", "limit", "sensor", "imbalance"}});
  }
  void add_regulator_heat() {
    Regulator& regulator = regulators_.front();
    add_temperature("regulator", "heatsink", [&regulator] { return regulator.body.celsius; }).warns({}, 72.0).trips({}, 85.0);
    knobs["regulator.heat"] = &regulator.extra_watts;
    stresses.push_back({[&regulator] { return regulator.body.celsius; }, 105.0, 300.0});
    faults.push_back({"regulator heats up", Shape::ramp, "regulator.heat", 0.13 * regulator.body.watts_nominal, {"regulator", "mains_w"}, {"rise", "drift", "limit", "runaway"}, 4.0});
  }
  void add_output(const std::string& name, const std::vector<std::string>& others, double limit, double trip) {
    outputs_.push_back(std::make_unique<Output>());
    Output& output = *outputs_.back();
    output.millivolts = dice.uniform(-0.25, 0.25) * limit;
    output.per_kelvin = dice.uniform(-0.01, 0.01) * limit;
    output.wander = Wander(0.01 * limit, 5000.0);
    add(name, "voltage", "mV", "offset", [this, &output] { return output.millivolts + output.shift + (output.per_kelvin + output.warmth) * (case_.celsius - 34.0) + output.wander.value(); },
        {.sigma = 0.004 * limit, .resolution = 0.01, .has_clip = true}).expects(0.0).warns(-limit, limit).trips(-trip, trip).matches(others).scaled(3.0 * limit);
    knobs[name] = &output.shift;
    knobs[name + ".warmth"] = &output.warmth;
    const double sign = dice.chance(0.5) ? 1.0 : -1.0;
    faults.push_back({"offset drifts", Shape::ramp, name, sign * 0.3 * limit, {name}, {"drift", "limit", "imbalance", "runaway"}, 2.0});
    faults.push_back({"offset steps", Shape::step, name, sign * limit * dice.uniform(0.5, 2.5), {name}, {"step", "limit", "imbalance", "drift"}});
  }
  void add_level(const std::string& name, const std::vector<std::string>& others) {
    levels_.push_back(std::make_unique<Level>());
    Level& level = *levels_.back();
    level.decibels = dice.uniform(-0.3, 0.3);
    level.wander = Wander(0.015, 7000.0);
    add(name, "ratio", "dB", "level", [this, &level] { return std::max(-60.0, level.decibels + level.shift + level.wander.value() - 0.002 * (case_.celsius - 34.0) - 60.0 * std::min(1.0, level.gone)); },
        {.sigma = 0.01, .resolution = 0.01}).expects(0.0).warns(-1.0, 1.0).matches(others).scaled(8.686);
    knobs[name] = &level.shift;
    knobs[name + ".gone"] = &level.gone;
    faults.push_back({"level drops", Shape::ramp, name, -0.87, {name}, {"drift", "imbalance", "limit", "step"}, 0.5});
    faults.push_back({"relay drops out", Shape::bursts, name + ".gone", 1.0, {name}, {"intermittent", "step", "limit", "imbalance"}});
    faults.push_back({"dirty switch", Shape::jumping, name, dice.uniform(0.5, 2.5), {name}, {"step", "intermittent", "imbalance", "drift", "limit"}});
  }
  void step_outputs(double dt) {
    for (auto& output : outputs_) output->wander.step(dt, dice);
    for (auto& level : levels_) level->wander.step(dt, dice);
  }
  /// Noise of a stage in mV, with a knob for its growth.
  void add_noise(double millivolts) {
    add("noise_mv", "voltage", "mV", "other", [this, millivolts] { return millivolts * (1.0 + noise_growth_); }, {.sigma_ratio = 0.03, .resolution = 0.001}).warns({}, rounded(millivolts * 2.0));
    knobs["noise"] = &noise_growth_;
    faults.push_back({"noise grows", Shape::growing, "noise", 0.1, {"noise_mv"}, {"drift", "limit", "runaway", "step"}, 2.0, 0.25});
  }

  struct Output {
    double millivolts = 0.0, per_kelvin = 0.0, shift = 0.0, warmth = 0.0;
    Wander wander{0.1, 5000.0};
  };
  struct Level {
    double decibels = 0.0, shift = 0.0, gone = 0.0;
    Wander wander{0.01, 5000.0};
  };
  double watts_nominal_ = 10.0;
  Body case_;
  Transformer transformer_;
  std::vector<Regulator> regulators_;
  std::vector<double> signs_;
  std::vector<std::unique_ptr<Output>> outputs_;
  std::vector<std::unique_ptr<Level>> levels_;
  double noise_growth_ = 0.0;
};

class TubePreamp : public LineUnit {
 public:
  explicit TubePreamp(std::uint64_t seed) : LineUnit(seed, 32.0, {280.0, 12.6}) {
    add_rail(0, "b_plus", 0.05);
    add_rail(1, "heaters", 0.05);
    plate_ = 280.0 * dice.uniform(0.45, 0.6);
    climb_ = dice.uniform(-0.02, 0.02);
    add("plate_v", "voltage", "V", "supply", [this] { return plate_now_; }, {.sigma = 0.05, .resolution = 0.1, .has_clip = true}).expects(rounded(plate_)).warns(rounded(plate_ * 0.9), rounded(plate_ * 1.1));
    knobs["stage"] = &stage_;
    faults.push_back({"one tube loses emission", Shape::ramp, "stage", 0.1, {"plate_v"}, {"drift", "limit"}, 0.4});
    add_output("output_left_mv", {"output_right_mv"}, 20.0, 500.0);
    add_output("output_right_mv", {"output_left_mv"}, 20.0, 500.0);
    add_noise(0.3);
    add_regulator_heat();
    add_usual(watts_nominal_);
  }

 private:
  void run(double dt) override {
    step_outputs(dt);
    age_ += dt;
    wander_.step(dt, dice);
    plate_now_ = plate_ * regulators_[0].volts / regulators_[0].volts_nominal * (1.0 + climb_ * std::exp(-age_ / 5000.0) + wander_.value() + stage_);
  }
  double plate_ = 0.0, plate_now_ = 0.0, climb_ = 0.0, age_ = 0.0, stage_ = 0.0;
  Wander wander_{0.001, 9000.0};
};

class SolidPreamp : public LineUnit {
 public:
  explicit SolidPreamp(std::uint64_t seed) : LineUnit(seed, 12.0, {15.0, -15.0}) {
    add_rail(0, "rail_plus");
    add_rail(1, "rail_minus");
    add_output("output_left_mv", {"output_right_mv"}, 10.0, 200.0);
    add_output("output_right_mv", {"output_left_mv"}, 10.0, 200.0);
    add_level("level_left", {"level_right"});
    add_level("level_right", {"level_left"});
    add_regulator_heat();
    add_usual(watts_nominal_);
    drive = dice.chance(0.5) ? "steady" : "idle";
  }

 private:
  void run(double dt) override { step_outputs(dt); }
};

class Tuner : public LineUnit {
 public:
  explicit Tuner(std::uint64_t seed) : LineUnit(seed, 14.0, {12.0, 24.0}) {
    drive = "steady";
    add_rail(0, "rail", 0.05);
    add_rail(1, "tuning_v", 0.02);
    tune_ = dice.uniform(-12.0, 12.0);
    tune_per_kelvin_ = dice.uniform(-1.5, 1.5);
    add("centre_tune_mv", "voltage", "mV", "offset", [this] { return tune_ + tune_shift_ + tune_per_kelvin_ * (case_.celsius - 34.0) + wander_.value(); }, {.sigma = 0.3, .resolution = 0.1, .has_clip = true})
        .expects(0.0).warns(-100.0, 100.0).scaled(300.0);
    add("agc_v", "voltage", "V", "other", [this] { return agc_ * (1.0 + agc_wander_.value() + agc_shift_); }, {.sigma = 0.01, .resolution = 0.01}).expects(3.0).warns(2.1, 3.9);
    knobs["tune"] = &tune_shift_;
    knobs["agc"] = &agc_shift_;
    faults.push_back({"tuning drifts", Shape::ramp, "tune", dice.chance(0.5) ? 30.0 : -30.0, {"centre_tune_mv"}, {"drift", "limit", "runaway"}, 0.8});
    faults.push_back({"tuning jumps", Shape::jumping, "tune", 60.0, {"centre_tune_mv"}, {"step", "intermittent", "drift", "limit"}});
    faults.push_back({"front end fades", Shape::ramp, "agc", -0.1, {"agc_v"}, {"drift", "limit"}, 0.5});
    add_level("level_left", {"level_right"});
    add_level("level_right", {"level_left"});
    add_usual(watts_nominal_);
  }

 private:
  void run(double dt) override {
    step_outputs(dt);
    wander_.step(dt, dice);
    agc_wander_.step(dt, dice);
  }
  double tune_ = 0.0, tune_shift_ = 0.0, tune_per_kelvin_ = 0.0, agc_ = 3.0, agc_shift_ = 0.0;
  Wander wander_{2.0, 6000.0};
  Wander agc_wander_{0.005, 3000.0};
};

class DiscPlayer : public LineUnit {
 public:
  explicit DiscPlayer(std::uint64_t seed) : LineUnit(seed, 16.0, {5.0}) {
    drive = "steady";
    add_rail(0, "rail_5v", 0.05);
    laser_ = dice.uniform(150.0, 220.0);
    per_kelvin_ = dice.uniform(0.0, 0.002);
    driver_ = {.tau = dice.uniform(8.0, 20.0) * 60.0, .rise_nominal = dice.uniform(14.0, 26.0), .watts_nominal = 1.5};
    side_minutes_ = dice.uniform(40.0, 75.0);
    const double target = rounded(laser_);
    add("laser_mv", "voltage", "mV", "bias", [this] { return laser_now_; }, {.sigma_ratio = 0.003, .resolution = 0.1, .has_clip = true}).expects(target).warns(rounded(target * 0.8), rounded(target * 1.2)).senses(4.7);
    add_temperature("driver", "motor", [this] { return driver_.celsius; }).warns({}, 70.0);
    knobs["laser"] = &ageing_;
    knobs["driver"] = &drag_watts_;
    faults.push_back({"laser ages", Shape::growing, "laser", 0.1, {"laser_mv"}, {"drift", "limit", "runaway"}, 0.6});
    faults.push_back({"motor drags", Shape::ramp, "driver", 0.18, {"driver", "mains_w"}, {"rise", "drift", "limit", "runaway"}, 1.0});
    add_level("level_left", {"level_right"});
    add_level("level_right", {"level_left"});
    add_usual(watts_nominal_);
    stresses.push_back({[this] { return laser_now_; }, laser_ * 1.6, 1800.0});
  }

 private:
  double extra_watts() const override { return drag_watts_; }
  void run(double dt) override {
    step_outputs(dt);
    age_ += dt;
    wander_.step(dt, dice);
    // From the inner to the outer track the motor turns slower; a laser wants more as it warms.
    const double track = std::fmod(age_ / 60.0, side_minutes_) / side_minutes_;
    driver_.step(dt, case_.celsius, 1.5 * (1.15 - 0.3 * track) + drag_watts_);
    laser_now_ = laser_ * (1.0 + per_kelvin_ * (driver_.celsius - 45.0) + ageing_ + wander_.value()) * regulators_[0].volts / regulators_[0].volts_nominal;
  }
  double laser_ = 180.0, laser_now_ = 0.0, per_kelvin_ = 0.0, ageing_ = 0.0, drag_watts_ = 0.0, side_minutes_ = 60.0, age_ = 0.0;
  Body driver_;
  Wander wander_{0.002, 6000.0};
};

class Crossover : public LineUnit {
 public:
  explicit Crossover(std::uint64_t seed) : LineUnit(seed, 10.0, {15.0, -15.0}) {
    drive = "steady";
    add_rail(0, "rail_plus");
    add_rail(1, "rail_minus");
    for (const char* band : {"low", "mid", "high"}) {
      add_output(std::string("dc_") + band + "_mv", {}, 20.0, 200.0);
      add_level(std::string("level_") + band, {});
    }
    add_usual(watts_nominal_);
  }

 private:
  void run(double dt) override { step_outputs(dt); }
};

}  // namespace

std::unique_ptr<Unit> tube_preamp(std::uint64_t seed) { return std::make_unique<TubePreamp>(seed); }
std::unique_ptr<Unit> solid_preamp(std::uint64_t seed) { return std::make_unique<SolidPreamp>(seed); }
std::unique_ptr<Unit> tuner(std::uint64_t seed) { return std::make_unique<Tuner>(seed); }
std::unique_ptr<Unit> disc_player(std::uint64_t seed) { return std::make_unique<DiscPlayer>(seed); }
std::unique_ptr<Unit> crossover(std::uint64_t seed) { return std::make_unique<Crossover>(seed); }

}  // namespace steadyglow::detection
