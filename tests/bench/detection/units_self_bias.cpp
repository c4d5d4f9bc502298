/// Valve amplifiers that bias themselves: push-pull over shared cathode resistors, and the single-ended triode.
#include "bench/detection/parts.hpp"
#include "bench/detection/units.hpp"

namespace steadyglow::detection {
namespace {

/// Volts over a cathode resistor that `count` valves share, where current and grid agree; by bisection.
double cathode_volts(const Valve& valve, double dead, double count, double volts, double lift, double ohms) {
  double low = 0.0, high = volts / valve.mu + std::max(0.0, lift);
  for (int i = 0; i < 26; ++i) {
    const double middle = 0.5 * (low + high);
    const double amps = (count - dead) * valve.amps_at(volts - middle, std::min(0.0, lift) + std::max(0.0, lift) - middle);
    (amps * ohms > middle ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

/// One cathode with its resistor and what stands beside it.
struct Side {
  Valve valve;
  double ohms = 270.0;
  double count = 2.0;
  double bypass_leak = 0.0;  ///< knob: conductance beside the resistor, of its own
  double drift = 0.0;        ///< knob: of the resistor
  double dead = 0.0;         ///< knob: valves that are gone
  double volts = 0.0;

  double ohms_now() const { return ohms * (1.0 + drift) / (1.0 + bypass_leak); }
  double amps() const { return volts / ohms_now(); }
  void step(double dt, double plate, double plate_nominal, double heater, double chassis, Dice& dice) {
    valve.begin_step(dt, heater, dice);
    const double lift = valve.gas_microamps * 1e-6 * valve.grid_leak * std::exp(1.2 * (std::min(valve.glass, 4.0) - 1.0)) + valve.leak_volts * std::exp2((chassis - 45.0) / 10.0);
    volts = cathode_volts(valve, dead, count, plate, lift, ohms_now());
    valve.end_step(dt, amps() / std::max(1.0, count - dead), plate, plate_nominal);
  }
};

class SelfBiasAmp : public Unit {
 public:
  SelfBiasAmp(std::uint64_t seed, bool is_single_ended)
      : Unit(seed), is_single_ended_(is_single_ended), transformer_(dice.uniform(25.0, 42.0), dice.uniform(60.0, 150.0) * 60.0) {
    warm_up_minutes = is_single_ended ? 60.0 : 40.0;
    plate_ = is_single_ended ? dice.uniform(320.0, 440.0) : dice.uniform(260.0, 370.0);
    source_ohms_ = dice.uniform(80.0, 250.0);
    const double count = is_single_ended ? 1.0 : 2.0;
    const double amps_each = is_single_ended ? dice.uniform(0.055, 0.075) : dice.uniform(0.032, 0.045);
    const double cathode = is_single_ended ? plate_ * dice.uniform(0.15, 0.18) : dice.uniform(10.0, 22.0);
    for (Side* side : {&left_, &right_}) {
      side->count = count;
      side->valve.mu = is_single_ended ? 3.9 : dice.uniform(8.5, 11.0);
      side->valve.volts_nominal = plate_ - cathode;
      side->valve.grid_nominal = -cathode;
      side->valve.amps_nominal = amps_each * dice.uniform(0.96, 1.04);
      side->valve.climb = dice.uniform(0.0, 0.08);
      side->valve.climb_tau = dice.uniform(0.7, 2.2) * 3600.0;
      side->valve.wander = Wander(dice.uniform(0.001, 0.005), dice.uniform(1.5, 5.0) * 3600.0);
      side->valve.cathode_tau = is_single_ended ? 3.0 : 14.0;
      side->ohms = rounded(cathode / (count * amps_each));
    }
    nominal_total_ = 2.0 * count * amps_each;
    heater_watts_ = is_single_ended ? 14.0 : 24.0;
    watts_nominal_ = 14.0 + heater_watts_ + plate_ * nominal_total_ * 1.12;
    chassis_ = {.tau = dice.uniform(30.0, 60.0) * 60.0, .rise_nominal = dice.uniform(16.0, 24.0), .watts_nominal = watts_nominal_};
    filament_.volts_nominal = 5.0;
    filament_.amps = 1.2;
    filament_.headroom = dice.uniform(1.2, 1.4);
    filament_.body = {.tau = dice.uniform(15.0, 30.0) * 60.0, .rise_nominal = dice.uniform(26.0, 36.0), .watts_nominal = 3.4};
    add_points();
    add_faults();
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    const double mains = moment.mains;
    filament_.step(dt, moment.room, mains, dice);
    heater_ = 6.3 * std::pow(mains, 0.97);
    const double heat = is_single_ended_ ? filament_.volts / 5.0 : heater_ / 6.3;
    bplus_ += (plate_ * mains - source_ohms_ * (total_ - nominal_total_) - bplus_) * 0.5;
    left_.step(dt, bplus_, plate_, heat, chassis_.celsius, dice);
    right_.step(dt, bplus_, plate_, heat, chassis_.celsius, dice);
    total_ = left_.amps() + right_.amps() + leak_amps_;
    watts = 14.0 * std::pow(mains, 2.6) + heater_watts_ * std::pow(mains, 1.6) + bplus_ * total_ * 1.12 + transformer_.shorted_watts + filament_.extra_watts;
    chassis_.step(dt, moment.room, watts);
    transformer_.step(dt, moment.room, mains, watts / watts_nominal_, 12.0);
    hum_ = hum_nominal_ * std::pow(total_ / nominal_total_, 1.2) * std::pow(mains, 1.2) * (1.0 + hum_growth_);
  }

 private:
  void add_side(const std::string& name, const std::string& other, Side& side) {
    const double target = rounded(-side.valve.grid_nominal, 3);
    add(name + "_cathode_v", "voltage", "V", "bias", [&side] { return side.volts; }, {.sigma_ratio = dice.uniform(0.001, 0.004), .resolution = 0.01, .has_clip = true})
        .expects(target).warns(rounded(target * 0.85, 3), rounded(target * 1.15, 3)).trips({}, rounded(target * 1.4, 3)).matches({other + "_cathode_v"}).senses(side.ohms);
    knobs[name + ".emission"] = &side.valve.emission;
    knobs[name + ".gas"] = &side.valve.gas_microamps;
    knobs[name + ".leak"] = &side.valve.leak_volts;
    knobs[name + ".bypass"] = &side.bypass_leak;
    knobs[name + ".resistor"] = &side.drift;
    knobs[name + ".dead"] = &side.dead;
    const double rated = side.valve.amps_nominal * plate_ / 0.85;
    stresses.push_back({[this, &side] { return side.amps() / std::max(1.0, side.count - side.dead) * (bplus_ - side.volts); }, 1.45 * rated, 600.0});
  }

  void add_points() {
    add_side("left", "right", left_);
    add_side("right", "left", right_);
    add("b_plus", "voltage", "V", "supply", [this] { return bplus_; }, {.sigma = 0.15, .resolution = 0.1, .has_clip = true})
        .expects(rounded(plate_, 3)).warns(rounded(plate_ * 0.9), rounded(plate_ * 1.1));
    if (is_single_ended_) {
      add("filaments", "voltage", "V", "heater", [this] { return filament_.volts; }, {.sigma = 0.003, .resolution = 0.001, .has_clip = true}).expects(5.0).warns(4.8, 5.2).trips({}, 5.4);
      add_temperature("filament_regulator", "heatsink", [this] { return filament_.body.celsius; }).warns({}, 80.0).trips({}, 90.0);
      add("hum", "voltage", "mV", "other", [this] { return hum_; }, {.sigma_ratio = 0.02, .resolution = 0.01}).warns({}, rounded(hum_nominal_ * 2.0));
      stresses.push_back({[this] { return filament_.body.celsius; }, 105.0, 300.0});
      stresses.push_back({[this] { return filament_.volts; }, 5.8, 600.0});
    } else if (dice.chance(0.5)) {
      add("heaters", "voltage", "V", "heater", [this] { return heater_; }, {.sigma = 0.004, .resolution = 0.01}).expects(6.3).warns(5.7, 6.9);
    }
    add_temperature("transformer", "transformer", [this] { return transformer_.surface(); }).warns({}, 85.0).trips({}, 95.0);
    stresses.push_back({[this] { return transformer_.surface(); }, 105.0, 600.0});
    stresses.push_back({[this] { return leak_amps_ * bplus_; }, 15.0, 1200.0});
    add_usual(watts_nominal_);
    knobs["filter_leak"] = &leak_amps_;
    knobs["shorted"] = &transformer_.shorted_watts;
    knobs["filament"] = &filament_.shift;
    knobs["filament_raw"] = &filament_.raw_loss;
    knobs["filament_heat"] = &filament_.extra_watts;
    knobs["hum"] = &hum_growth_;
  }

  void add_faults() {
    const bool is_left = dice.chance(0.5);
    Side& side = is_left ? left_ : right_;
    const std::string name = is_left ? "left" : "right";
    const std::vector<std::string> point{name + "_cathode_v"};
    const double lift = 0.1 * -side.valve.grid_nominal * 1.4;
    const std::vector<std::string> moves{"drift", "imbalance", "limit", "runaway"};
    faults.push_back({"coupling capacitor leaks", Shape::ramp, name + ".leak", lift, point, moves, 0.5});
    faults.push_back({"one tube gassy", Shape::growing, name + ".gas", lift / side.valve.grid_leak * 1e6, point, moves, 3.0, 0.05});
    faults.push_back({"one tube loses emission", Shape::ramp, name + ".emission", -0.22, point, moves, 0.3});
    faults.push_back({"bypass capacitor leaks", Shape::growing, name + ".bypass", 0.22, point, moves, 0.9});
    faults.push_back({"cathode resistor drifts", Shape::ramp, name + ".resistor", 0.18, point, moves, 0.35});
    faults.push_back({"filter capacitor leaks", Shape::growing, "filter_leak", 0.1 * plate_ / source_ohms_ * 0.35, {"b_plus", "transformer", "mains_w", "left_cathode_v", "right_cathode_v"}, {"drift", "rise", "limit", "runaway"}, 0.5});
    faults.push_back({"shorted turns", Shape::growing, "shorted", 2.4, {"transformer", "mains_w"}, {"rise", "drift", "limit", "runaway"}, 3.0});
    if (is_single_ended_) {
      faults.push_back({"filament regulator runs away", Shape::growing, "filament", 0.1, {"filaments"}, {"drift", "limit", "runaway"}, 0.25, 0.03});
      faults.push_back({"filament supply sags", Shape::growing, "filament_raw", 0.28, {"filaments", "filament_regulator"}, {"drift", "limit", "runaway", "step", "rise"}, 0.13, 0.09});
      faults.push_back({"regulator heats up", Shape::ramp, "filament_heat", 0.45, {"filament_regulator", "mains_w"}, {"rise", "drift", "limit", "runaway"}, 3.0});
      faults.push_back({"hum grows", Shape::ramp, "hum", 0.1, {"hum"}, {"drift", "limit", "runaway"}, 1.5, 0.2});
    } else {
      faults.push_back({"one of a shared pair dies", Shape::step, name + ".dead", 1.0, point, {"step", "limit", "imbalance", "drift"}});
    }
  }

  bool is_single_ended_;
  double plate_, source_ohms_, nominal_total_ = 0.0, heater_watts_ = 0.0, watts_nominal_ = 0.0;
  double hum_nominal_ = 2.2;
  Side left_, right_;
  Body chassis_;
  Transformer transformer_;
  Regulator filament_;
  double bplus_ = 0.0, heater_ = 0.0, total_ = 0.0, hum_ = 0.0;
  double leak_amps_ = 0.0, hum_growth_ = 0.0;
};

}  // namespace

std::unique_ptr<Unit> cathode_bias_amp(std::uint64_t seed) { return std::make_unique<SelfBiasAmp>(seed, false); }
std::unique_ptr<Unit> single_ended_amp(std::uint64_t seed) { return std::make_unique<SelfBiasAmp>(seed, true); }

}  // namespace steadyglow::detection
