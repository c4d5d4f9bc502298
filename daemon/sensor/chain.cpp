#include "sensor/chain.hpp"

#include <cmath>

namespace steadyglow::sensor {
namespace {

constexpr double kelvin_at_zero = 273.15;
constexpr double millivolts_per_volt = 1000.0;

/// A temperature with its slope over the base unit at the sensor, or why there is none.
struct Sensed {
  double celsius = 0.0;
  double slope = 0.0;
  Quality quality = Quality::good;
};
constexpr Sensed nothing(Quality why) { return {0.0, 0.0, why}; }

Sensed sense(const ThermocoupleStep& step, double volts, std::optional<Celsius> junction) {
  const std::optional<Celsius> terminals = step.junction_channel.empty() ? std::optional(step.junction) : junction;
  if (!terminals) return nothing(Quality::stale);
  const auto tip = thermocouple_tip(step.type, Millivolts{millivolts_per_volt * volts}, *terminals);
  if (!tip) return nothing(Quality::over_range);
  const auto sensitivity = thermocouple_sensitivity(step.type, *tip);
  return {tip->value, sensitivity ? millivolts_per_volt / *sensitivity : 0.0};
}

Sensed sense(const PlatinumStep& step, double ohms, std::optional<Celsius>) {
  const Ohms resistance{ohms - step.lead.value};
  const auto t = platinum_temperature(step.at_zero, resistance);
  // More than the standard's highest is a lead that is off; less than its lowest is a short.
  if (!t) return nothing(resistance > step.at_zero ? Quality::open_sensor : Quality::over_range);
  return {t->value, 1.0 / platinum_sensitivity(step.at_zero, *t)};
}

/// dT/dR in kelvin per ohm, for each way of writing the curve.
double slope_of(const BetaThermistor& part, Ohms resistance, Celsius t) { return 1.0 / (resistance.value * thermistor_sensitivity(part, t)); }
double slope_of(const SteinhartHart& curve, Ohms resistance, Celsius t) {
  const double kelvins = t.value + kelvin_at_zero;
  const double x = std::log(resistance.value);
  return -kelvins * kelvins * (curve.b + 3.0 * curve.c * x * x) / resistance.value;
}

Sensed sense(const ThermistorStep& step, double at_sensor, std::optional<Celsius>) {
  Ohms resistance{at_sensor};
  double ohms_slope = 1.0;
  if (step.divider) {
    const ThermistorDivider& divider = *step.divider;
    const double share = at_sensor / divider.supply.value;
    // An open thermistor pulls its own side to the rail.
    if (!(share > 0.0 && share < 1.0)) return nothing((share >= 1.0) == divider.is_thermistor_low_side ? Quality::open_sensor : Quality::over_range);
    const auto solved = thermistor_in_divider(divider, Volts{at_sensor});
    if (!solved) return nothing(Quality::over_range);
    resistance = *solved;
    const double shape = divider.is_thermistor_low_side ? 1.0 / ((1.0 - share) * (1.0 - share)) : -1.0 / (share * share);
    ohms_slope = shape * divider.other.value / divider.supply.value;
  }
  return std::visit(
      [&](const auto& curve) -> Sensed {
        const auto t = thermistor_temperature(curve, resistance);
        if (t) return {t->value, slope_of(curve, resistance, *t) * ohms_slope};
        const auto coldest = thermistor_resistance(curve, thermistor_low);
        return nothing(coldest && resistance > *coldest ? Quality::open_sensor : Quality::over_range);
      },
      step.curve);
}

Sensed sense(std::monostate, double, std::optional<Celsius>) { return nothing(Quality::implausible); }

/// What a sensor gives at a temperature, in its base unit.
std::optional<double> at_sensor(const ThermocoupleStep& step, Celsius t, std::optional<Celsius> junction) {
  const std::optional<Celsius> terminals = step.junction_channel.empty() ? std::optional(step.junction) : junction;
  if (!terminals || t < thermocouple_range(step.type).inverse_low) return std::nullopt;
  const auto emf = thermocouple_emf(step.type, t);
  const auto of_terminals = thermocouple_emf(step.type, *terminals);
  if (!emf || !of_terminals) return std::nullopt;
  return (*emf - *of_terminals).value / millivolts_per_volt;
}

std::optional<double> at_sensor(const PlatinumStep& step, Celsius t, std::optional<Celsius>) {
  const auto resistance = platinum_resistance(step.at_zero, t);
  return resistance ? std::optional((*resistance + step.lead).value) : std::nullopt;
}

std::optional<double> at_sensor(const ThermistorStep& step, Celsius t, std::optional<Celsius>) {
  const auto resistance = std::visit([&](const auto& curve) { return thermistor_resistance(curve, t); }, step.curve);
  if (!resistance) return std::nullopt;
  if (!step.divider) return resistance->value;
  const double below = step.divider->is_thermistor_low_side ? resistance->value : step.divider->other.value;
  return step.divider->supply.value * below / (resistance->value + step.divider->other.value);
}

std::optional<double> at_sensor(std::monostate, Celsius, std::optional<Celsius>) { return std::nullopt; }

double gain_of(std::monostate) { return 1.0; }
double gain_of(const DividerStep& step) { return divider_factor(step.parts).value_or(0.0); }
double gain_of(const ShuntStep& step) { return step.measured.value > 0.0 ? 1.0 / step.measured.value : 0.0; }
double gain_of(const TransformerStep& step) { return step.secondary > 0.0 ? step.primary_amperes / step.secondary : 0.0; }

}  // namespace

const ThermocoupleStep* Chain::wants_junction() const {
  const auto* step = std::get_if<ThermocoupleStep>(&sensor);
  return step != nullptr && !step->junction_channel.empty() ? step : nullptr;
}

double Chain::gain() const {
  return std::visit([](const auto& step) { return gain_of(step); }, before_meter);
}

Converted convert(const Chain& chain, double raw, Quality quality, std::optional<Celsius> junction) {
  const bool is_linear = !chain.has_sensor();
  const double factor = is_linear ? chain.factor() : 0.0;
  Converted made{is_linear ? raw * factor + chain.offset : 0.0, quality, factor};
  if (!std::isfinite(raw) || !std::isfinite(made.value)) made = {0.0, quality == Quality::good ? Quality::implausible : quality, 0.0};
  if (made.quality != Quality::good) return made;
  if ((chain.accept_low && raw < *chain.accept_low) || (chain.accept_high && raw > *chain.accept_high)) {
    made.quality = Quality::over_range;
    return made;
  }
  if (is_linear) return made;
  const double to_sensor = chain.from.to_base * chain.gain();
  const Sensed sensed = std::visit([&](const auto& step) { return sense(step, raw * to_sensor, junction); }, chain.sensor);
  if (sensed.quality != Quality::good) return {0.0, sensed.quality, 0.0};
  const double to_point = chain.scale / chain.to.to_base;
  return {sensed.celsius * to_point + chain.offset, Quality::good, sensed.slope * to_sensor * to_point};
}

std::optional<double> raw_for(const Chain& chain, double value, std::optional<Celsius> junction) {
  const double unscaled = (value - chain.offset) / chain.scale * chain.to.to_base;
  const double to_sensor = chain.from.to_base * chain.gain();
  if (!chain.has_sensor()) {
    const double raw = unscaled / to_sensor;
    return std::isfinite(raw) ? std::optional(raw) : std::nullopt;
  }
  const auto given = std::visit([&](const auto& step) { return at_sensor(step, Celsius{unscaled}, junction); }, chain.sensor);
  if (!given || !std::isfinite(*given / to_sensor)) return std::nullopt;
  return *given / to_sensor;
}

}  // namespace steadyglow::sensor
