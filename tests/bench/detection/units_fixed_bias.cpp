/// Push-pull power amplifier with fixed bias: each valve's current over its own cathode resistor.
#include "bench/detection/parts.hpp"
#include "bench/detection/units.hpp"

namespace steadyglow::detection {
namespace {

class FixedBiasAmp : public Unit {
 public:
  FixedBiasAmp(std::uint64_t seed, int count) : Unit(seed), transformer_(dice.uniform(25.0, 40.0), dice.uniform(60.0, 130.0) * 60.0) {
    nominal_volts = 230.0;
    warm_up_minutes = 60.0;
    volts_ = dice.uniform(380.0, 490.0);
    amps_each_ = dice.uniform(0.030, 0.045);
    bias_power_ = dice.uniform(0.9, 1.02);
    ohms_ = dice.chance(0.5) ? 10.0 : dice.chance(0.5) ? 1.0 : 2.0;
    source_ohms_ = dice.uniform(40.0, 120.0);
    heater_watts_ = 11.0 * count;
    const double climb = dice.uniform(0.0, 0.07);
    for (int i = 0; i < count; ++i) {
      Valve valve;
      valve.amps_nominal = amps_each_ * dice.uniform(0.97, 1.04);
      valve.volts_nominal = volts_ * 0.98;
      valve.grid_nominal = -valve.volts_nominal / valve.mu + dice.uniform(9.0, 14.0);
      valve.grid_leak = dice.uniform(100e3, 220e3);
      valve.climb = climb * dice.uniform(0.6, 1.4);
      valve.climb_tau = dice.uniform(0.7, 1.8) * 3600.0;
      valve.wander = Wander(dice.uniform(0.001, 0.004), dice.uniform(1.5, 5.0) * 3600.0);
      valves_.push_back(valve);
    }
    feed_nominal_ = valves_.front().grid_nominal;
    for (Valve& valve : valves_) trims_.push_back(valve.grid_nominal - feed_nominal_);
    nominal_total_ = amps_each_ * count;
    watts_nominal_ = 18.0 + heater_watts_ + volts_ * nominal_total_ * 1.12;
    chassis_ = {.tau = dice.uniform(30.0, 60.0) * 60.0, .rise_nominal = dice.uniform(16.0, 24.0), .watts_nominal = watts_nominal_};
    add_points();
    add_faults();
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    const double mains = moment.mains;
    heater_ = 6.3 * std::pow(mains, 0.97);
    feed_ = feed_nominal_ * std::pow(mains, bias_power_) * (1.0 - bias_slip_);
    double total = leak_amps_;
    // B+ loads its source; the currents that it makes are those of the last step but for a relaxed half.
    bplus_ += (volts_ * mains - source_ohms_ * (total_ + leak_amps_ - nominal_total_) - bplus_) * (dt > 2.0 ? 0.6 : 0.4);
    for (std::size_t i = 0; i < valves_.size(); ++i) {
      Valve& valve = valves_[i];
      valve.begin_step(dt, heater_ / 6.3, dice);
      const double grid = valve.grid(feed_ + trims_[i] * std::pow(mains, bias_power_), chassis_.celsius);
      valve.end_step(dt, valve.amps_at(bplus_ * 0.98, grid), bplus_, volts_);
      total += valve.amps;
    }
    total_ = total - leak_amps_;
    watts = 18.0 * std::pow(mains, 2.6) + heater_watts_ * std::pow(mains, 1.6) + bplus_ * total * 1.12 + transformer_.shorted_watts;
    chassis_.step(dt, moment.room, watts);
    transformer_.step(dt, moment.room, mains, watts / watts_nominal_, 14.0);
  }

 private:
  std::vector<std::string> names() const {
    std::vector<std::string> all;
    for (std::size_t i = 0; i < valves_.size(); ++i) all.push_back("v" + std::to_string(i + 1) + "_mv");
    return all;
  }
  double shown_mv(const Valve& valve) const {
    // With its resistor open the cathode rises until the valve nearly cuts itself off; a flash-over sends a pulse through it.
    if (valve.cathode_open >= 1.0) return 35e3;
    return (valve.amps + 0.5 * valve.flash) * ohms_ * 1e3;
  }

  void add_points() {
    const double target = rounded(amps_each_ * ohms_ * 1e3);
    const auto all = names();
    for (std::size_t i = 0; i < valves_.size(); ++i) {
      Valve& valve = valves_[i];
      auto others = all;
      others.erase(others.begin() + static_cast<std::ptrdiff_t>(i));
      add(all[i], "voltage", "mV", "bias", [this, &valve] { return shown_mv(valve); },
          {.sigma_ratio = dice.uniform(0.001, 0.006), .resolution = target > 100.0 ? 0.1 : 0.01, .has_clip = true})
          .expects(target).warns(rounded(target * 0.8), rounded(target * 1.2)).trips({}, rounded(target * 1.5)).matches(others).senses(ohms_);
      const std::string knob = "v" + std::to_string(i + 1) + ".";
      knobs[knob + "emission"] = &valve.emission;
      knobs[knob + "gas"] = &valve.gas_microamps;
      knobs[knob + "leak"] = &valve.leak_volts;
      knobs[knob + "heater"] = &valve.heater;
      knobs[knob + "screen"] = &valve.screen_loss;
      knobs[knob + "cathode"] = &valve.cathode_open;
      knobs[knob + "flash"] = &valve.flash;
      const double rated = amps_each_ * volts_ / 0.68;
      stresses.push_back({[this, &valve] { return valve.amps * bplus_; }, 1.5 * rated, 300.0});
    }
    add("b_plus", "voltage", "V", "supply", [this] { return bplus_; }, {.sigma = 0.15, .resolution = 0.1, .has_clip = true})
        .expects(rounded(volts_, 3)).warns(rounded(volts_ * 0.9), rounded(volts_ * 1.1));
    if (dice.chance(0.7))
      add("bias_feed", "voltage", "V", "grid_bias", [this] { return feed_; }, {.sigma = 0.02, .resolution = 0.01, .has_clip = true})
          .expects(rounded(feed_nominal_, 3)).warns(rounded(feed_nominal_ * 1.12), rounded(feed_nominal_ * 0.88));
    if (dice.chance(0.4))
      add("heaters", "voltage", "V", "heater", [this] { return heater_; }, {.sigma = 0.004, .resolution = 0.01}).expects(6.3).warns(5.7, 6.9);
    add_temperature("transformer", "transformer", [this] { return transformer_.surface(); }).warns({}, 85.0).trips({}, 95.0);
    if (dice.chance(0.5)) add_temperature("chassis", "chassis", [this] { return chassis_.celsius; }).warns({}, 65.0);
    add_usual(watts_nominal_);
    stresses.push_back({[this] { return transformer_.surface(); }, 105.0, 600.0});
    stresses.push_back({[this] { return leak_amps_ * bplus_; }, 15.0, 1200.0});
    knobs["bias_slip"] = &bias_slip_;
    knobs["filter_leak"] = &leak_amps_;
    knobs["shorted"] = &transformer_.shorted_watts;
  }

  void add_faults() {
    const auto all = names();
    const std::size_t which = dice.below(valves_.size());
    const std::string point = all[which];
    const std::string knob = "v" + std::to_string(which + 1) + ".";
    const double pull = valves_[which].drive_nominal();
    const double tenth_volts = pull * 0.066;
    const std::vector<std::string> moves{"drift", "imbalance", "runaway", "limit"};
    faults.push_back({"one tube gassy", Shape::growing, knob + "gas", tenth_volts / valves_[which].grid_leak * 1e6, {point}, moves, 4.0, 0.05});
    faults.push_back({"coupling capacitor leaks", Shape::ramp, knob + "leak", tenth_volts, {point}, moves, 2.5});
    faults.push_back({"one tube loses emission", Shape::ramp, knob + "emission", -0.1, {point}, {"drift", "imbalance", "limit", "settling"}, 0.5});
    faults.push_back({"one heater fades", Shape::ramp, knob + "heater", -0.14, {point}, {"drift", "imbalance", "limit", "step"}, 0.25});
    faults.push_back({"cathode resistor opens", Shape::step, knob + "cathode", 1.0, {point}, {"step", "limit", "sensor", "imbalance"}});
    faults.push_back({"screen resistor opens", Shape::step, knob + "screen", 1.0, {point}, {"step", "limit", "imbalance", "sensor"}});
    faults.push_back({"flash-overs", Shape::bursts, knob + "flash", 1.0, {point}, {"intermittent", "step", "limit"}});
    auto feed = all;
    feed.push_back("bias_feed");
    faults.push_back({"bias supply slips", Shape::ramp, "bias_slip", tenth_volts / std::fabs(feed_nominal_), feed, {"drift", "limit", "runaway", "step"}, 2.0});
    faults.push_back({"filter capacitor leaks", Shape::growing, "filter_leak", 0.1 * volts_ / source_ohms_ * 0.35, {"b_plus", "transformer", "mains_w", "chassis"}, {"drift", "rise", "limit", "runaway"}, 0.5});
    faults.push_back({"shorted turns", Shape::growing, "shorted", 2.6, {"transformer", "mains_w"}, {"rise", "drift", "limit", "runaway"}, 3.0});
  }

  double volts_, amps_each_, bias_power_, ohms_, source_ohms_, heater_watts_;
  double feed_nominal_ = -44.0, nominal_total_ = 0.0, watts_nominal_ = 100.0;
  std::vector<Valve> valves_;
  std::vector<double> trims_;
  Body chassis_;
  Transformer transformer_;
  double bplus_ = 0.0, feed_ = 0.0, heater_ = 0.0, total_ = 0.0;
  double bias_slip_ = 0.0, leak_amps_ = 0.0;
};

}  // namespace

std::unique_ptr<Unit> fixed_bias_amp(std::uint64_t seed, int valves) { return std::make_unique<FixedBiasAmp>(seed, valves); }

}  // namespace steadyglow::detection
