#include "sensor/chain_toml.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <string>
#include <vector>

namespace steadyglow::sensor {
namespace {

using document::Range;
using document::Table;

constexpr Range any_tolerance{0.0, 50.0};
constexpr double scale_most = 1e6;

/// What a part may have and still be that part, and what to do when it has not.
struct OhmsRule {
  std::string_view key;
  std::string_view part;
  Range range;
  std::string_view hint;
};
constexpr OhmsRule upper_rule{"upper_ohms", "an upper arm", {1.0, 1e10}, "measure it cold and disconnected: all resistors of the upper arm in series"};
constexpr OhmsRule lower_rule{"lower_ohms", "a lower arm", {0.1, 1e9}, "measure it cold and disconnected, without the meter"};
constexpr OhmsRule meter_rule{"meter_ohms", "a meter input", {100.0, 1e13},
                              "it stands in the meter's data sheet and loads the lower arm: 4 megohm over 33.2 kilohm reads a quarter low into 100 kilohm"};
constexpr OhmsRule shunt_rule{"ohms", "a sense resistor", {1e-6, 1e5}, "measure the resistor in place: the tolerance on its body would be the largest error of the chain"};
constexpr OhmsRule platinum_rule{"at_zero_ohms", "a platinum sensor at 0 degC", {10.0, 10000.0}, "100 for a Pt100, 1000 for a Pt1000"};
constexpr OhmsRule lead_rule{"lead_ohms", "a pair of leads", {0.0, 50.0}, "both leads together: short them at the sensor, and write what the meter reads"};
constexpr OhmsRule thermistor_rule{"ohms_at_25", "a thermistor at 25 degC", {10.0, 1e7}, "10000 is usual; it stands in the parts list, with beta"};
constexpr OhmsRule other_rule{"other_ohms", "the other resistor", {10.0, 1e8}, "measure it: its error goes straight into the temperature"};

double ohms(Table& step, const OhmsRule& rule) {
  if (!step.has(rule.key)) {
    step.mistake("", fmt::format("`{}` is missing here", rule.key), std::string(rule.hint));
    return 1.0;
  }
  const auto value = step.maybe_number(rule.key);
  if (!value) return 1.0;
  if (std::isfinite(*value) && *value >= rule.range.low && *value <= rule.range.high) return *value;
  step.mistake(rule.key, fmt::format("{} of {} ohm cannot be", rule.part, *value), std::string(rule.hint));
  return 1.0;
}

void read_accept(Table& point, Chain& chain) {
  auto band = point.maybe_table("accept");
  if (!band) return;
  chain.accept_low = band->maybe_number("low");
  chain.accept_high = band->maybe_number("high");
  band->done();
  if (!band->has("low") && !band->has("high")) point.mistake("accept", "`accept` has neither low nor high", "write { low = -0.1, high = 2.0 }, or one of them, in the channel's unit of measure");
  if (chain.accept_low && chain.accept_high && *chain.accept_low >= *chain.accept_high)
    point.mistake("accept", fmt::format("`accept` is impossible: low {} is not below high {}", *chain.accept_low, *chain.accept_high), "swap them?");
}

DividerStep read_divider(Table& step) {
  DividerStep made{{Ohms{ohms(step, upper_rule)}, Ohms{ohms(step, lower_rule)}, Ohms{ohms(step, meter_rule)}}, step.maybe_number("tolerance_percent", any_tolerance)};
  step.done();
  return made;
}

ShuntStep read_shunt(Table& step) {
  ShuntStep made{Ohms{ohms(step, shunt_rule)}, step.maybe_number("tolerance_percent", any_tolerance)};
  step.done();
  return made;
}

TransformerStep read_transformer(Table& step) {
  constexpr Range primary{0.001, 1e5}, secondary{1e-4, 1000.0};
  TransformerStep made;
  made.primary_amperes = step.number("primary_amperes", primary);
  const auto amperes = step.maybe_number("secondary_amperes", secondary);
  const auto volts = step.maybe_number("secondary_volts", secondary);
  made.tolerance_percent = step.maybe_number("tolerance_percent", any_tolerance);
  step.done();
  if (step.has("secondary_amperes") == step.has("secondary_volts"))
    step.mistake("", "a current transformer has either secondary_amperes or secondary_volts", "5 or 1 ampere where the meter closes its circuit, volts (often 0.333) where the burden is inside");
  made.is_secondary_volts = step.has("secondary_volts");
  made.secondary = volts.value_or(amperes.value_or(1.0));
  if (made.primary_amperes <= 0.0) made.primary_amperes = 1.0;
  return made;
}

ThermocoupleStep read_thermocouple(Table& step) {
  ThermocoupleStep made;
  const std::string letter = step.text("type");
  const auto type = letter.size() == 1 ? thermocouple_type_from(letter.front()) : std::nullopt;
  if (type) made.type = *type;
  else if (!letter.empty()) step.mistake("type", fmt::format("there is no thermocouple type `{}`", letter), "B, E, J, K, N, R, S or T (IEC 60584-1), as printed on its plug; K is the usual one");
  if (const auto number = step.maybe_whole("class", {1.0, 3.0})) {
    made.tolerance_class = static_cast<ThermocoupleClass>(*number);
    if (type && !has_class(*type, *made.tolerance_class)) step.mistake("class", fmt::format("type {} has no class {} in IEC 60584-1", letter_of(*type), *number), "leave it out when nobody knows it");
  }
  made.junction_channel = step.maybe_text("cold_junction").value_or("");
  const auto held = step.maybe_number("cold_junction_celsius", {0.0, 70.0});
  made.junction = Celsius{held.value_or(junction_assumed.value)};
  made.junction_tolerance_kelvin = step.maybe_number("cold_junction_tolerance_kelvin", {0.0, 30.0});
  step.done();
  if (step.has("cold_junction") == step.has("cold_junction_celsius"))
    step.mistake("", "a thermocouple tells how much warmer it is than its own terminals: say how warm these are, once",
                 "cold_junction = \"meter.channel\" of a sensor at the terminals, or cold_junction_celsius = 23.0 where they are held at that");
  if (step.has("cold_junction") && step.has("cold_junction_tolerance_kelvin"))
    step.mistake("cold_junction_tolerance_kelvin", "the terminals are measured: their meter's own `accuracy` counts", "leave it out");
  return made;
}

PlatinumStep read_platinum(Table& step) {
  PlatinumStep made;
  made.at_zero = Ohms{ohms(step, platinum_rule)};
  made.wires = step.whole("wires", {2.0, 4.0});
  if (step.has("lead_ohms")) made.lead = Ohms{ohms(step, lead_rule)};
  static constexpr std::array<std::string_view, 4> classes{"AA", "A", "B", "C"};
  if (const auto word = step.maybe_word("class", {classes.begin(), classes.end()}))
    for (std::size_t i = 0; i < classes.size(); ++i)
      if (classes[i] == *word) made.tolerance_class = static_cast<PlatinumClass>(i);
  step.done();
  if (made.wires == 2 && !step.has("lead_ohms"))
    step.mistake("wires", "two wires add their own ohms to the sensor's: 0.4 ohm make a Pt100 read a degree too warm", std::string("write lead_ohms: ") + std::string(lead_rule.hint));
  if (made.wires == 4 && step.has("lead_ohms")) step.mistake("lead_ohms", "four wires do not see their leads", "leave lead_ohms out, or is it a sensor of two wires?");
  return made;
}

SteinhartHart read_steinhart_hart(Table& step) {
  const SteinhartHart curve{step.number("a"), step.number("b"), step.number("c")};
  const auto at_25 = thermistor_resistance(curve, Celsius{25.0});
  constexpr double least = 50.0, most = 1e8;  // smaller ones limit inrush and measure nothing
  if (!at_25) step.mistake("", at_25.error().message, "a, b and c of 1/T = a + b ln R + c (ln R)^3, R in ohm: b and c are above zero");
  else if (!(at_25->value >= least && at_25->value <= most))
    step.mistake("", fmt::format("these figures make {:.3g} ohm at 25 degC", at_25->value), "are they for kilohms, or for the logarithm to base 10?");
  return curve;
}

ThermistorStep read_thermistor(Table& step) {
  ThermistorStep made;
  if (step.has("a") || step.has("b") || step.has("c")) {
    made.curve = read_steinhart_hart(step);
    if (step.has("beta") || step.has("ohms_at_25")) step.mistake("", "a, b, c and beta are two ways to say the same", "keep a, b and c: they are the better one");
    (void)step.maybe_number("beta");
    (void)step.maybe_number("ohms_at_25");
  } else {
    const Ohms at_25{ohms(step, thermistor_rule)};
    made.curve = BetaThermistor{.at_reference = at_25, .beta_kelvin = step.number("beta", {500.0, 10000.0})};
  }
  if (auto divider = step.maybe_table("divider")) {
    const double supply = divider->number("supply_volts", {0.1, 100.0});
    const double other = ohms(*divider, other_rule);
    made.divider = ThermistorDivider{.supply = Volts{supply > 0.0 ? supply : 1.0}, .other = Ohms{other}, .is_thermistor_low_side = divider->maybe_flag("low_side").value_or(true)};
    divider->done();
  }
  made.tolerance_kelvin = step.maybe_number("tolerance_kelvin", {0.0, 50.0});
  step.done();
  return made;
}

/// Reads the one of `keys` that is there; a second one is a mistake.
template <class Read>
void read_one_of(Table& point, std::initializer_list<std::string_view> keys, std::string_view what, const Read& read) {
  std::string_view first;
  for (const std::string_view key : keys) {
    auto step = point.maybe_table(key);
    if (!step) continue;
    if (first.empty()) read(key, *step);
    else point.mistake(key, fmt::format("`{}` and `{}` cannot both {}", first, key, what), "a chain has one of them: measure the other part in place and write its effect as `scale`");
    if (first.empty()) first = key;
  }
}

std::string_view plural(Quantity quantity) {
  switch (quantity) {
    case Quantity::voltage: return "volts";
    case Quantity::current: return "amperes";
    case Quantity::resistance: return "ohms";
    case Quantity::temperature: return "a temperature";
    default: return to_word(quantity);
  }
}

/// The key of a step, what it takes and what it gives.
struct Step {
  std::string_view key;
  Quantity takes;
  Quantity gives;
};
Step step_of(const DividerStep&) { return {"divider", Quantity::voltage, Quantity::voltage}; }
Step step_of(const ShuntStep&) { return {"shunt", Quantity::voltage, Quantity::current}; }
Step step_of(const TransformerStep& step) { return {"transformer", step.is_secondary_volts ? Quantity::voltage : Quantity::current, Quantity::current}; }
Step step_of(const ThermocoupleStep&) { return {"thermocouple", Quantity::voltage, Quantity::temperature}; }
Step step_of(const PlatinumStep&) { return {"platinum", Quantity::resistance, Quantity::temperature}; }
Step step_of(const ThermistorStep& step) { return {"thermistor", step.divider ? Quantity::voltage : Quantity::resistance, Quantity::temperature}; }
Step step_of(std::monostate) { return {}; }

/// Why this step cannot take what comes to it, and what to do instead.
void refuse(Table& point, const Step& step, Quantity comes, std::string_view channel) {
  const auto say = [&](std::string message, std::string hint) { point.mistake(step.key, std::move(message), std::move(hint)); };
  if (step.gives == Quantity::temperature && comes == Quantity::temperature)
    return say(fmt::format("`{}` gives a temperature: the module has turned its sensor into one already", channel), fmt::format("leave `{}` out, and set the kind of sensor in the module", step.key));
  if (step.key == "thermocouple" && comes == Quantity::resistance)
    return say(fmt::format("`{}` measures resistance: an RTD slot gives ohms, and a thermocouple wants volts", channel), "plug it into a millivolt input, or describe what is really connected with `platinum`");
  if (step.key == "platinum" && comes == Quantity::voltage)
    return say(fmt::format("`{}` measures voltage: a platinum sensor is a resistance, and has no volts of its own", channel), "connect it to a resistance input; a sensor that gives millivolts by itself is a `thermocouple`");
  if (step.key == "thermistor" && comes == Quantity::voltage)
    return say(fmt::format("`{}` measures voltage: a thermistor is a resistance", channel), "say what feeds it: divider = { supply_volts = 3.3, other_ohms = 10000 }");
  if (step.key == "thermistor" && comes == Quantity::resistance)
    return say(fmt::format("`{}` measures resistance already", channel), "leave the thermistor's `divider` out");
  if (step.gives == Quantity::current && comes == Quantity::current)
    return say(fmt::format("`{}` measures current already", channel), step.key == "shunt" ? "leave `shunt` out: its resistor is inside the meter" : "a transformer of 5 or 1 ampere has secondary_amperes");
  say(fmt::format("`{}` wants {}, and gets {} from `{}`", step.key, plural(step.takes), plural(comes), channel), "another channel, or another step?");
}

std::string hint_for(Quantity from, Quantity to) {
  if (from == Quantity::voltage && to == Quantity::current) return "over a sense resistor: shunt = { ohms = 10.02 }; behind a current transformer: transformer = { primary_amperes = 100, secondary_volts = 0.333 }";
  if (from == Quantity::voltage && to == Quantity::temperature) return "a thermocouple's volts become degrees by thermocouple = { type = \"K\", cold_junction = \"room.temperature\" }";
  if (from == Quantity::resistance && to == Quantity::temperature) return "ohms become degrees by platinum = { at_zero_ohms = 100, wires = 4 } or thermistor = { ohms_at_25 = 10000, beta = 3950 }";
  return {};
}

}  // namespace

Chain read_chain(Table& point) {
  Chain chain;
  read_accept(point, chain);
  read_one_of(point, {"divider", "shunt", "transformer"}, "stand before the meter", [&](std::string_view key, Table& step) {
    if (key == "divider") chain.before_meter = read_divider(step);
    else if (key == "shunt") chain.before_meter = read_shunt(step);
    else chain.before_meter = read_transformer(step);
  });
  read_one_of(point, {"thermocouple", "platinum", "thermistor"}, "be the sensor", [&](std::string_view key, Table& step) {
    if (key == "thermocouple") chain.sensor = read_thermocouple(step);
    else if (key == "platinum") chain.sensor = read_platinum(step);
    else chain.sensor = read_thermistor(step);
  });
  chain.scale = point.maybe_number("scale", {-scale_most, scale_most}).value_or(1.0);
  if (chain.scale == 0.0) {
    point.mistake("scale", "a scale of 0 makes every reading 0");
    chain.scale = 1.0;
  }
  chain.offset = point.maybe_number("offset", {-scale_most, scale_most}).value_or(0.0);
  return chain;
}

bool fit_chain(Table& point, Chain& chain, const ChainEnds& ends) {
  chain.from = ends.from;
  chain.to = ends.to;
  Quantity comes = ends.from.quantity;
  const auto takes = [&](const Step& step) {
    if (step.key.empty()) return true;
    if (comes != step.takes) {
      refuse(point, step, comes, ends.channel);
      return false;
    }
    comes = step.gives;
    return true;
  };
  if (!std::visit([&](const auto& step) { return takes(step_of(step)); }, chain.before_meter)) return false;
  if (!std::visit([&](const auto& step) { return takes(step_of(step)); }, chain.sensor)) return false;
  if (comes == ends.to.quantity) return true;
  if (comes == ends.from.quantity)
    point.mistake("channel", fmt::format("`{}` measures {}, but `{}` is {}", ends.channel, to_word(comes), ends.point, to_word(ends.to.quantity)), hint_for(comes, ends.to.quantity));
  else point.mistake("channel", fmt::format("`{}` becomes {} by its steps, but `{}` is {}", ends.channel, to_word(comes), ends.point, to_word(ends.to.quantity)),
                     ends.to.quantity == Quantity::voltage && comes == Quantity::current ? "the point wants the volts over the resistor: leave `shunt` out" : "another channel, or another step?");
  return false;
}

}  // namespace steadyglow::sensor
