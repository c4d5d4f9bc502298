/// Class AB: a stereo amplifier, a receiver, a pair of mono blocks, a headphone amplifier.
#include "bench/detection/parts.hpp"
#include "bench/detection/units.hpp"

namespace steadyglow::detection {
namespace {

/// DC that should be zero: what was left at the factory, what the input pair makes of its warmth, and what goes wrong.
struct Offset {
  double millivolts = 4.0;
  double per_kelvin = 0.2;
  Wander wander{0.2, 5000.0};
  double shift = 0.0;        ///< knob, mV
  double warmth = 0.0;       ///< knob, mV/K more: an input pair that came apart
  double now(double celsius) const { return millivolts + shift + (per_kelvin + warmth) * (celsius - 38.0) + wander.value(); }
};

/// A transformer with its two rails.
struct Supply {
  Transformer transformer{25.0, 5400.0};
  double volts = 42.0;
  double ohms = 1.2;
  double amps_nominal = 0.1;
  double watts_nominal = 30.0;
  double standing_watts = 6.0;
  double plus = 0.0, minus = 0.0, watts = 0.0;
  // knobs
  double both_sag = 0.0, plus_sag = 0.0, plus_lost = 0.0;

  void step(double dt, const Moment& moment, double amps) {
    const double target = volts * moment.mains - ohms * (amps - amps_nominal);
    const double share = 1.0 - std::exp(-dt / 1.5);
    plus += (target * (1.0 - both_sag - plus_sag) * (1.0 - std::min(1.0, plus_lost)) - plus) * share;
    minus += (-target * (1.0 - both_sag) * 0.997 - minus) * share;
    watts = standing_watts * std::pow(moment.mains, 2.5) + (plus - minus) * amps * 1.1 + transformer.shorted_watts;
    transformer.step(dt, moment.room, moment.mains, watts / watts_nominal, 8.0);
  }
};

struct Channel {
  std::string name;
  OutputStage stage;
  Offset offset;
  double level_loss = 0.0;  ///< knob: 1: the relay has let go
  double level_db = 0.0;    ///< knob, dB
  double volts_out = 0.0;
};

class ClassAb : public Unit {
 public:
  ClassAb(std::uint64_t seed, Guise guise, bool is_driven) : Unit(seed), guise_(guise), is_driven_(is_driven) {
    const bool is_small = guise == Guise::headphone;
    drive = is_driven ? "programme" : "idle";
    warm_up_minutes = is_small ? 30.0 : 45.0;
    supplies_.resize(guise == Guise::mono_pair ? 2 : 1);
    const double volts = is_small ? dice.uniform(14.0, 20.0) : dice.uniform(28.0, 60.0);
    const double ohms = is_small ? 4.7 : dice.chance(0.6) ? 0.22 : 0.33;
    const double idle = (is_small ? dice.uniform(40.0, 90.0) : dice.uniform(7.0, 14.0)) / 1e3 / ohms;
    const double tracking = dice.uniform(0.75, 0.95);
    const double rise = dice.uniform(14.0, 24.0);
    const double tau = dice.uniform(18.0, 40.0) * 60.0;
    for (std::size_t i = 0; i < 2; ++i) {
      Channel& channel = channels_[i];
      channel.name = guise == Guise::mono_pair ? (i == 0 ? "a" : "b") : (i == 0 ? "left" : "right");
      channel.stage.emitter_ohms = ohms;
      channel.stage.pairs = is_small ? 1.0 : 2.0;
      channel.stage.idle_nominal = idle * dice.uniform(0.92, 1.08);
      channel.stage.rail_nominal = volts;
      channel.stage.tracking = tracking;
      channel.stage.driver_watts = is_small ? 0.4 : 2.5;
      channel.stage.load_ohms = is_small ? 300.0 : 8.0;
      channel.stage.wander = Wander(dice.uniform(0.002, 0.008), dice.uniform(1.0, 4.0) * 3600.0);
      // A sink that is to bear a programme is cooler at idle.
      channel.stage.sink = {.tau = tau * dice.uniform(0.9, 1.1), .rise_nominal = rise * dice.uniform(0.9, 1.1) * (is_driven ? 0.6 : 1.0), .watts_nominal = channel.stage.idle_heat_nominal()};
      // Whoever built it saw to it that it is stable at four times its idle current.
      while (channel.stage.loop_gain(4.0 * idle) > 0.75) {
        channel.stage.tracking = 1.0 - 0.8 * (1.0 - channel.stage.tracking);
        channel.stage.junction_kelvin_per_watt *= 0.92;
      }
      channel.offset.millivolts = dice.uniform(-8.0, 8.0) * (is_small ? 0.3 : 1.0);
      channel.offset.per_kelvin = dice.uniform(-0.5, 0.5) * (is_small ? 0.2 : 1.0);
      channel.offset.wander = Wander(is_small ? 0.06 : 0.3, 5000.0);
    }
    for (Supply& supply : supplies_) {
      supply.volts = volts * dice.uniform(0.985, 1.015);
      supply.ohms = dice.uniform(0.8, 2.0) * volts / 42.0 * (is_small ? 3.0 : 1.0);
      const double channels = guise == Guise::mono_pair ? 1.0 : 2.0;
      supply.amps_nominal = channels * (channels_[0].stage.idle_nominal * channels_[0].stage.pairs + channels_[0].stage.driver_watts / (2.0 * volts));
      supply.standing_watts = is_small ? 3.0 : guise == Guise::receiver ? 16.0 : 8.0;
      supply.watts_nominal = supply.standing_watts + 2.0 * volts * supply.amps_nominal * 1.1;
      supply.transformer = Transformer(dice.uniform(12.0, 28.0), dice.uniform(60.0, 120.0) * 60.0);
      if (is_driven) supply.watts_nominal *= 1.8;
    }
    tone_ = {.volts_nominal = 15.0, .headroom = dice.uniform(1.25, 1.5), .line = dice.uniform(0.002, 0.02)};
    chassis_ = {.tau = dice.uniform(25.0, 50.0) * 60.0, .rise_nominal = 12.0, .watts_nominal = supplies_[0].watts_nominal};
    add_points(volts);
    add_faults();
  }

  void step(double dt, const Moment& moment) override {
    seen = moment;
    watts = 0.0;
    for (std::size_t i = 0; i < 2; ++i) {
      Channel& channel = channels_[i];
      Supply& supply = supply_of(i);
      const double music = is_driven_ ? (i == 0 ? moment.music_left : moment.music_right) : 0.0;
      channel.offset.wander.step(dt, dice);
      channel.stage.step(dt, moment.room, std::max(0.5, 0.5 * (supply.plus - supply.minus)), music, dice);
      if (supply.plus_lost >= 1.0) channel.stage.idle = 1e-5;
      const double gain = std::pow(10.0, channel.level_db / 20.0) * (1.0 - std::min(1.0, channel.level_loss));
      channel.volts_out = music * supply.volts * 0.8 * 0.5 * gain;
    }
    for (std::size_t i = 0; i < supplies_.size(); ++i) {
      const double amps = supplies_.size() == 2 ? channels_[i].stage.supply_amps() : channels_[0].stage.supply_amps() + channels_[1].stage.supply_amps();
      supplies_[i].step(dt, moment, amps);
      watts += supplies_[i].watts;
    }
    if (guise_ == Guise::receiver) tone_.step(dt, moment.room, moment.mains, dice);
    chassis_.step(dt, moment.room, watts);
    ripple_ = 4.0 * supplies_[0].watts / supplies_[0].watts_nominal * (1.0 + ripple_growth_);
  }

 private:
  Supply& supply_of(std::size_t channel) { return supplies_[supplies_.size() == 2 ? channel : 0]; }

  void add_channel(std::size_t i) {
    Channel& channel = channels_[i];
    const std::string& name = channel.name;
    const std::string& other = channels_[1 - i].name;
    const bool is_small = guise_ == Guise::headphone;
    const double target = rounded(channels_[0].stage.idle_nominal * channels_[0].stage.emitter_ohms * 1e3, is_small ? 1 : 2);
    Probe& idle = add("idle_" + name + "_mv", "voltage", "mV", "bias", [&channel] { return channel.stage.emitter_mv(); },
                      {.sigma = target * dice.uniform(0.002, 0.012), .resolution = 0.01, .has_clip = true});
    idle.expects(target).matches({"idle_" + other + "_mv"}).senses(channel.stage.emitter_ohms);
    if (!is_driven_) idle.warns(rounded(target * 0.5), rounded(target * 1.5)).trips({}, rounded(target * 3.0));
    else idle.warns(rounded(target * 0.4), 250.0);
    const double limit = is_small ? 10.0 : 50.0;
    add("offset_" + name + "_mv", "voltage", "mV", "offset", [this, &channel] { return channel.offset.now(chassis_.celsius); }, {.sigma = is_small ? 0.02 : 0.1, .resolution = is_small ? 0.01 : 0.1, .has_clip = true})
        .expects(0.0).warns(-limit, limit).trips(is_small ? -100.0 : -300.0, is_small ? 100.0 : 300.0).scaled(3.0 * limit);
    add_temperature("sink_" + name, "heatsink", [&channel] { return channel.stage.sink.celsius; }).warns({}, is_driven_ ? 70.0 : 60.0).trips({}, is_driven_ ? 85.0 : 75.0).matches({"sink_" + other});
    if (guise_ == Guise::receiver)
      add("level_" + name, "voltage", "V", "level", [&channel] { return channel.volts_out; }, {.sigma = 0.002, .sigma_ratio = 0.01, .resolution = 0.001}).matches({"level_" + other});
    const std::string knob = name + ".";
    knobs[knob + "bias"] = &channel.stage.bias_shift_mv;
    knobs[knob + "tracking"] = &channel.stage.tracking_loss;
    knobs[knob + "emitter"] = &channel.stage.emitter_open;
    knobs[knob + "mica"] = &channel.stage.mica;
    knobs[knob + "air"] = &channel.stage.sink.resistance_factor;
    knobs[knob + "offset"] = &channel.offset.shift;
    knobs[knob + "warmth"] = &channel.offset.warmth;
    knobs[knob + "relay"] = &channel.level_loss;
    knobs[knob + "level"] = &channel.level_db;
    stresses.push_back({[&channel] { return channel.stage.sink.celsius; }, 95.0, 300.0});
    stresses.push_back({[&channel] { return channel.stage.sink.celsius + channel.stage.junction; }, 150.0, 120.0});
    stresses.push_back({[this, &channel] { return std::fabs(channel.offset.now(chassis_.celsius)); }, is_small ? 400.0 : 1500.0, 60.0});
  }

  void add_supply(std::size_t i, double volts) {
    Supply& supply = supplies_[i];
    const std::string ending = supplies_.size() == 2 ? (i == 0 ? "_a" : "_b") : "";
    Probe& plus = add("rail_plus" + ending, "voltage", "V", "supply", [&supply] { return supply.plus; }, {.sigma = 0.01, .resolution = 0.01, .has_clip = true});
    plus.expects(rounded(volts, 3)).warns(rounded(volts * (is_driven_ ? 0.82 : 0.91)), rounded(volts * 1.1));
    Probe& minus = add("rail_minus" + ending, "voltage", "V", "supply", [&supply] { return supply.minus; }, {.sigma = 0.01, .resolution = 0.01, .has_clip = true});
    minus.expects(-rounded(volts, 3)).warns(-rounded(volts * 1.1), -rounded(volts * (is_driven_ ? 0.82 : 0.91)));
    add_temperature("transformer" + ending, "transformer", [&supply] { return supply.transformer.surface(); }).warns({}, 80.0).trips({}, 95.0);
    knobs["sag" + ending] = &supply.both_sag;
    knobs["plus_sag" + ending] = &supply.plus_sag;
    knobs["plus_lost" + ending] = &supply.plus_lost;
    knobs["shorted" + ending] = &supply.transformer.shorted_watts;
    stresses.push_back({[&supply] { return supply.transformer.surface(); }, 105.0, 600.0});
  }

  void add_points(double volts) {
    for (std::size_t i = 0; i < 2; ++i) add_channel(i);
    for (std::size_t i = 0; i < supplies_.size(); ++i) add_supply(i, volts);
    has_ripple_ = guise_ == Guise::stereo && !is_driven_ && dice.chance(0.5);
    if (has_ripple_) add("ripple_mv", "voltage", "mV", "other", [this] { return ripple_; }, {.sigma_ratio = 0.015, .resolution = 0.01}).warns({}, 8.0);
    knobs["ripple"] = &ripple_growth_;
    if (guise_ == Guise::receiver) {
      add("tone_rail", "voltage", "V", "supply", [this] { return tone_.volts; }, {.sigma = 0.004, .resolution = 0.01, .has_clip = true}).expects(15.0).warns(14.25, 15.75);
      knobs["tone_rail"] = &tone_.shift;
      knobs["tone_raw"] = &tone_.raw_loss;
    }
    add_usual(supplies_.size() == 1 ? supplies_[0].watts_nominal : supplies_[0].watts_nominal * 2.0);
    if (guise_ != Guise::mono_pair) return;
    for (Probe& probe : probes) {
      if (probe.role != "mains_power") continue;
      // Each block has a meter of its own.
      probe.name = "watts_a";
      probe.nominal = rounded(supplies_[0].watts_nominal);
      probe.value = [this] { return supplies_[0].watts; };
      Probe second = probe;
      second.name = "watts_b";
      second.value = [this] { return supplies_[1].watts; };
      probe.matched_with = {"watts_b"};
      probes.push_back(std::move(second));
      break;
    }
  }

  void add_faults() {
    const std::size_t which = dice.below(2);
    Channel& channel = channels_[which];
    const std::string& name = channel.name;
    const std::string idle = "idle_" + name + "_mv", offset = "offset_" + name + "_mv", sink = "sink_" + name;
    const std::string ending = supplies_.size() == 2 ? "_" + name : "";
    const double limit = guise_ == Guise::headphone ? 10.0 : 50.0;
    const double tenth_mv = 0.1 * (channel.stage.idle_nominal * channel.stage.emitter_ohms + OutputStage::thermal_volts) * 1e3;
    const std::vector<std::string> current{"drift", "imbalance", "limit", "runaway"};
    const std::vector<std::string> heat{"rise", "drift", "imbalance", "limit", "runaway"};
    faults.push_back({"idle current drifts", Shape::ramp, name + ".bias", tenth_mv, {idle}, current, 3.0});
    faults.push_back({"bias transistor comes off", Shape::growing, name + ".tracking", 0.08, {idle, sink}, {"drift", "imbalance", "limit", "runaway", "rise"}, 1.25, 0.05});
    faults.push_back({"dirty trimmer", Shape::jumping, name + ".bias", tenth_mv * 2.5, {idle}, {"step", "intermittent", "imbalance", "drift", "limit"}});
    faults.push_back({"emitter resistor opens", Shape::step, name + ".emitter", 1.0, {idle}, {"step", "limit", "sensor", "imbalance"}});
    faults.push_back({"poor mica", Shape::ramp, name + ".mica", tenth_mv / 2.2 / (0.5 * channel.stage.idle_heat_nominal() / channel.stage.pairs), {idle, sink}, {"drift", "imbalance", "limit", "runaway", "rise"}, 0.4});
    faults.push_back({"blocked air", Shape::ramp, name + ".air", 0.1, {sink, idle}, heat, 2.0});
    faults.push_back({"offset drifts", Shape::ramp, name + ".offset", 0.3 * limit, {offset}, {"drift", "limit", "imbalance", "runaway"}, 12.0});
    faults.push_back({"offset steps", Shape::step, name + ".offset", limit * dice.uniform(0.5, 2.5), {offset}, {"step", "limit", "imbalance", "drift"}});
    faults.push_back({"offset follows temperature", Shape::ramp, name + ".warmth", 0.3 * limit / 5.0, {offset}, {"drift", "limit", "imbalance", "runaway"}, 1.5});
    faults.push_back({"shorted turns", Shape::growing, "shorted" + ending, 1.3, {"transformer" + ending, "mains_w", "watts_" + name}, {"rise", "drift", "limit", "runaway", "imbalance"}, 4.0});
    faults.push_back({"rails sag", Shape::ramp, "sag" + ending, 0.1, {"rail_plus" + ending, "rail_minus" + ending}, {"drift", "limit", "imbalance"}, 0.3});
    faults.push_back({"one rail sags", Shape::ramp, "plus_sag" + ending, 0.1, {"rail_plus" + ending}, {"drift", "limit", "imbalance"}, 0.3});
    faults.push_back({"rail lost", Shape::step, "plus_lost" + ending, 1.0, {"rail_plus" + ending}, {"step", "limit", "sensor", "imbalance"}});
    if (has_ripple_) faults.push_back({"ripple grows", Shape::growing, "ripple", 0.1, {"ripple_mv"}, {"drift", "limit", "runaway"}, 1.5, 0.1});
    if (guise_ != Guise::receiver) return;
    faults.push_back({"relay drops out", Shape::bursts, name + ".relay", 1.0, {"level_" + name}, {"intermittent", "imbalance", "step", "limit"}});
    faults.push_back({"level drops", Shape::ramp, name + ".level", -0.87, {"level_" + name}, {"drift", "imbalance", "limit", "step"}, 0.5, 0.08});
    faults.push_back({"regulator drifts", Shape::ramp, "tone_rail", 0.1, {"tone_rail"}, {"drift", "limit"}, 0.2});
  }

  Guise guise_;
  bool is_driven_;
  bool has_ripple_ = false;
  Channel channels_[2];
  std::vector<Supply> supplies_;
  Regulator tone_;
  Body chassis_;
  double ripple_ = 0.0, ripple_growth_ = 0.0;
};

}  // namespace

std::unique_ptr<Unit> class_ab(std::uint64_t seed, Guise guise, bool is_driven) { return std::make_unique<ClassAb>(seed, guise, is_driven); }

}  // namespace steadyglow::detection
