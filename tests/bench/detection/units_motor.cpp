/// Things that turn: tape deck and turntable.
#include "bench/detection/parts.hpp"
#include "bench/detection/units.hpp"

namespace steadyglow::detection {
namespace {

class TapeDeck : public Unit {
 public:
  explicit TapeDeck(std::uint64_t seed) : Unit(seed) {
    drive = "steady";
    warm_up_minutes = 15.0;
    tone_ = dice.chance(0.5) ? 3000.0 : 3150.0;
    offset_ = dice.uniform(-0.002, 0.002);
    per_kelvin_ = dice.uniform(0.0, 8e-5);
    side_seconds_ = dice.uniform(30.0, 60.0) * 60.0;
    stop_seconds_ = dice.uniform(10.0, 45.0) * 60.0;
    idle_watts_ = dice.uniform(7.0, 11.0);
    play_watts_ = dice.uniform(10.0, 16.0);
    motor_ = {.tau = dice.uniform(15.0, 30.0) * 60.0, .rise_nominal = dice.uniform(12.0, 22.0), .watts_nominal = play_watts_};
    solenoid_ = {.tau = dice.uniform(8.0, 16.0) * 60.0, .rise_nominal = dice.uniform(12.0, 22.0), .watts_nominal = 4.0};
    milliamps_nominal_ = dice.uniform(60.0, 120.0);
    is_silent_in_stop_ = dice.chance(0.5);
    add_points();
    add_faults();
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    age_ += dt;
    wow_.step(dt, dice);
    const double position = std::fmod(age_, side_seconds_ + stop_seconds_);
    is_playing_ = age_ > 60.0 && position < side_seconds_;
    // The take-up reel fills: a little more pull towards the end of a side.
    const double reel = position / side_seconds_;
    const double pull = drag_ + 0.01 * reel;
    speed_ = is_playing_ ? tone_ * (1.0 + offset_ + per_kelvin_ * (motor_.celsius - 40.0) - 0.02 * drag_ - 0.001 * reel - slip_ + jump_ + wow_.value()) : 0.0;
    milliamps_ = is_playing_ ? milliamps_nominal_ * (1.0 + pull + 2.0 * wow_.value()) : 0.0;
    const double motor_watts = is_playing_ ? play_watts_ * (1.0 + 1.2 * pull) : 0.0;
    watts = idle_watts_ * std::pow(moment.mains, 1.3) + motor_watts + (is_playing_ ? 4.0 * moment.mains : 0.0);
    motor_.step(dt, moment.room, motor_watts + bearing_watts_ * (is_playing_ ? 1.0 : 0.0));
    solenoid_.step(dt, moment.room, is_playing_ ? 4.0 * std::pow(moment.mains, 2.0) : 0.2);
    for (int i = 0; i < 2; ++i) level_[i] = is_playing_ ? base_[i] + level_shift_[i] + 30.0 * wow_.value() - 60.0 * std::min(1.0, gone_[i]) : -60.0;
  }

 private:
  void add_points() {
    // Some counters show no figure without a tone, some show 0.
    Probe& speed = add("speed_hz", "frequency", "Hz", "speed", [this] { return is_playing_ || !is_silent_in_stop_ ? speed_ : std::nan(""); }, {.sigma = 0.6, .resolution = 0.1});
    speed.expects(tone_).warns(tone_ * 0.99, tone_ * 1.01).scaled(tone_ * 0.05);
    if (!is_silent_in_stop_) speed.warns({}, tone_ * 1.01);
    add("motor_ma", "current", "mA", "supply_current", [this] { return milliamps_; }, {.sigma_ratio = 0.006, .resolution = 0.1, .has_clip = true}).expects(rounded(milliamps_nominal_)).warns({}, rounded(milliamps_nominal_ * 1.2));
    add_temperature("motor", "motor", [this] { return motor_.celsius; }).warns({}, 60.0).trips({}, 75.0);
    add_temperature("solenoid", "chassis", [this] { return solenoid_.celsius; }).warns({}, 65.0);
    const char* names[] = {"level_left", "level_right"};
    for (int i = 0; i < 2; ++i) {
      base_[i] = dice.uniform(-0.6, 0.6);
      add(names[i], "ratio", "dB", "level", [this, i] { return std::max(-60.0, level_[i]); }, {.sigma = 0.08, .resolution = 0.1}).expects(0.0).warns({}, 2.0).matches({names[1 - i]}).scaled(8.686);
      knobs[names[i]] = &level_shift_[i];
      knobs[std::string(names[i]) + ".gone"] = &gone_[i];
    }
    knobs["drag"] = &drag_;
    knobs["slip"] = &slip_;
    knobs["jump"] = &jump_;
    knobs["bearing"] = &bearing_watts_;
    stresses.push_back({[this] { return motor_.celsius; }, 85.0, 600.0});
    add_usual(idle_watts_ + play_watts_ + 4.0);
  }
  void add_faults() {
    faults.push_back({"motor drags", Shape::ramp, "drag", 0.1, {"motor_ma", "motor", "speed_hz", "mains_w"}, {"drift", "rise", "speed", "limit", "runaway"}, 0.8});
    faults.push_back({"belt slips", Shape::ramp, "slip", 0.005, {"speed_hz"}, {"speed", "drift", "limit"}, 0.6});
    faults.push_back({"speed steps", Shape::step, "jump", dice.chance(0.5) ? 0.012 : -0.012, {"speed_hz"}, {"speed", "step", "limit", "drift"}});
    faults.push_back({"bearing heats up", Shape::ramp, "bearing", 0.12 * play_watts_, {"motor"}, {"rise", "drift", "limit", "runaway"}, 4.0});
    faults.push_back({"level drops", Shape::ramp, "level_left", -0.87, {"level_left"}, {"drift", "imbalance", "limit", "step"}, 0.5});
    faults.push_back({"relay drops out", Shape::bursts, "level_right.gone", 1.0, {"level_right"}, {"intermittent", "step", "limit", "imbalance"}});
  }

  double tone_ = 3000.0, offset_ = 0.0, per_kelvin_ = 0.0, side_seconds_ = 2700.0, stop_seconds_ = 1200.0, idle_watts_ = 9.0, play_watts_ = 13.0, milliamps_nominal_ = 90.0;
  double age_ = 0.0, speed_ = 0.0, milliamps_ = 0.0;
  double drag_ = 0.0, slip_ = 0.0, jump_ = 0.0, bearing_watts_ = 0.0, level_shift_[2] = {}, gone_[2] = {}, level_[2] = {}, base_[2] = {};
  bool is_playing_ = false, is_silent_in_stop_ = true;
  Body motor_, solenoid_;
  Wander wow_{0.0006, 90.0};
};

class Turntable : public Unit {
 public:
  explicit Turntable(std::uint64_t seed) : Unit(seed) {
    drive = "steady";
    warm_up_minutes = 30.0;
    const bool is_direct = dice.chance(0.5);
    bed_in_ = is_direct ? 0.0 : dice.uniform(0.0, 0.0015);
    per_kelvin_ = is_direct ? dice.uniform(0.0, 2e-5) : dice.uniform(0.0, 6e-5);
    offset_ = dice.uniform(-0.0005, 0.0005);
    motor_watts_ = dice.uniform(2.5, 8.0);
    motor_ = {.tau = dice.uniform(20.0, 40.0) * 60.0, .rise_nominal = dice.uniform(14.0, 26.0), .watts_nominal = motor_watts_};
    regulator_ = {.volts_nominal = dice.chance(0.5) ? 12.0 : 24.0, .headroom = 1.4, .line = 0.01};
    add("speed_rpm", "speed", "{rpm}", "speed", [this] { return speed_; }, {.sigma = 0.004, .resolution = 0.001}).expects(33.333).warns(33.22, 33.45).scaled(33.333 * 0.03);
    add_temperature("motor", "motor", [this] { return motor_.celsius; }).warns({}, 65.0).trips({}, 75.0);
    add("supply_v", "voltage", "V", "supply", [this] { return regulator_.volts; }, {.sigma = 0.003, .resolution = 0.001, .has_clip = true})
        .expects(regulator_.volts_nominal).warns(regulator_.volts_nominal * 0.96, regulator_.volts_nominal * 1.04);
    add("motor_ma", "current", "mA", "supply_current", [this] { return milliamps_; }, {.sigma_ratio = 0.004, .resolution = 0.1, .has_clip = true})
        .expects(rounded(motor_watts_ / regulator_.volts_nominal * 700.0));
    add_usual(motor_watts_ + 4.0);
    knobs["drag"] = &drag_;
    knobs["slip"] = &slip_;
    knobs["jump"] = &jump_;
    knobs["bearing"] = &bearing_watts_;
    knobs["supply"] = &regulator_.shift;
    faults.push_back({"motor drags", Shape::ramp, "drag", 0.1, {"motor_ma", "motor", "speed_rpm", "mains_w"}, {"drift", "rise", "speed", "limit", "runaway"}, 0.8});
    faults.push_back({"belt slips", Shape::ramp, "slip", 0.003, {"speed_rpm"}, {"speed", "drift", "limit"}, 0.8});
    faults.push_back({"speed steps", Shape::step, "jump", dice.chance(0.5) ? 0.008 : -0.008, {"speed_rpm"}, {"speed", "step", "limit", "drift"}});
    faults.push_back({"speed hunts", Shape::jumping, "jump", 0.006, {"speed_rpm"}, {"speed", "step", "intermittent", "limit", "drift"}});
    faults.push_back({"bearing heats up", Shape::ramp, "bearing", 0.12 * motor_watts_, {"motor"}, {"rise", "drift", "limit", "runaway"}, 4.0});
    faults.push_back({"regulator drifts", Shape::ramp, "supply", -0.1, {"supply_v"}, {"drift", "limit"}, 0.25});
    stresses.push_back({[this] { return motor_.celsius; }, 85.0, 600.0});
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    age_ += dt;
    wander_.step(dt, dice);
    regulator_.step(dt, moment.room, moment.mains, dice);
    // Oil drags when it is cold.
    const double oil = 0.12 * std::exp(-(motor_.celsius - 24.0) / 14.0);
    const double load = 1.0 + oil + drag_ + bed_in_ * std::exp(-age_ / 20000.0);
    const double volts = regulator_.volts / regulator_.volts_nominal;
    speed_ = 33.333 * (1.0 + offset_ + per_kelvin_ * (motor_.celsius - 42.0) - bed_in_ * std::exp(-age_ / 20000.0) - 0.006 * drag_ - slip_ + jump_ + wander_.value()) * std::pow(volts, 0.03);
    milliamps_ = motor_watts_ / regulator_.volts_nominal * 700.0 * load * volts;
    const double motor = motor_watts_ * load * volts * volts;
    watts = 4.0 * std::pow(moment.mains, 1.8) + motor * std::pow(moment.mains, 0.6);
    motor_.step(dt, moment.room, motor + bearing_watts_);
  }

 private:
  double bed_in_ = 0.0, per_kelvin_ = 0.0, offset_ = 0.0, motor_watts_ = 5.0, age_ = 0.0, speed_ = 0.0, milliamps_ = 0.0;
  double drag_ = 0.0, slip_ = 0.0, jump_ = 0.0, bearing_watts_ = 0.0;
  Body motor_;
  Regulator regulator_;
  Wander wander_{0.00006, 3000.0};
};

}  // namespace

std::unique_ptr<Unit> tape_deck(std::uint64_t seed) { return std::make_unique<TapeDeck>(seed); }
std::unique_ptr<Unit> turntable(std::uint64_t seed) { return std::make_unique<Turntable>(seed); }

}  // namespace steadyglow::detection
