#include "sensor/chain_words.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>

#include "core/decimal.hpp"

namespace steadyglow::sensor {
namespace {

constexpr int digits = 4;
constexpr std::array platinum_classes{"AA", "A", "B", "C"};

/// Without the zeros behind the last digit that says something: a part's value as it was written.
std::string short_figure(double value) {
  std::string text = to_figure(value, digits);
  if (text.find('.') == std::string::npos || text.find('e') != std::string::npos) return text;
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  return text;
}

std::string tolerance_words(const std::optional<double>& percent) { return percent ? fmt::format(" ±{} %", short_figure(*percent)) : ""; }

std::string say(std::monostate) { return {}; }
std::string say(const DividerStep& step) {
  return fmt::format("divider {} over {}{} with {} input: × {}", ohms_words(step.parts.upper), ohms_words(step.parts.lower), tolerance_words(step.tolerance_percent),
                     ohms_words(step.parts.meter_input), to_figure(divider_factor(step.parts).value_or(0.0), digits));
}
std::string say(const ShuntStep& step) { return fmt::format("current through {}{}", ohms_words(step.measured), tolerance_words(step.tolerance_percent)); }
std::string say(const TransformerStep& step) {
  return fmt::format("current transformer {} A to {} {}{}", short_figure(step.primary_amperes), short_figure(step.secondary), step.is_secondary_volts ? "V" : "A", tolerance_words(step.tolerance_percent));
}
std::string say(const ThermocoupleStep& step) {
  std::string text = fmt::format("thermocouple type {}", letter_of(step.type));
  if (step.tolerance_class) text += fmt::format(", class {}", static_cast<int>(*step.tolerance_class));
  if (!step.junction_channel.empty()) return text + fmt::format(", its terminals at {}", step.junction_channel);
  return text + fmt::format(", its terminals held at {} °C{}", short_figure(step.junction.value), step.junction_tolerance_kelvin ? fmt::format(" ±{} K", short_figure(*step.junction_tolerance_kelvin)) : "");
}
std::string say(const PlatinumStep& step) {
  std::string text = fmt::format("platinum, {} at 0 °C, {} wires", ohms_words(step.at_zero), step.wires);
  if (step.lead.value > 0.0) text += fmt::format(", less {} of leads", ohms_words(step.lead));
  if (step.tolerance_class) text += fmt::format(", class {}", platinum_classes[static_cast<std::size_t>(*step.tolerance_class)]);
  return text;
}
std::string say(const ThermistorStep& step) {
  const auto* beta = std::get_if<BetaThermistor>(&step.curve);
  std::string text = beta != nullptr ? fmt::format("thermistor, {} at 25 °C, beta {} K", ohms_words(beta->at_reference), short_figure(beta->beta_kelvin)) : std::string("thermistor after Steinhart and Hart");
  if (step.divider)
    text += fmt::format(", {} {} on {} V", step.divider->is_thermistor_low_side ? "below" : "above", ohms_words(step.divider->other), short_figure(step.divider->supply.value));
  return text + (step.tolerance_kelvin ? fmt::format(" ±{} K", short_figure(*step.tolerance_kelvin)) : "");
}

std::string accept_words(const Chain& chain) {
  if (!chain.accept_low && !chain.accept_high) return {};
  const std::string_view uom = chain.from.shown;
  if (!chain.accept_high) return fmt::format("from {} {}", short_figure(*chain.accept_low), uom);
  if (!chain.accept_low) return fmt::format("to {} {}", short_figure(*chain.accept_high), uom);
  return fmt::format("{} to {} {}", short_figure(*chain.accept_low), short_figure(*chain.accept_high), uom);
}

/// Half-width of a rectangular distribution to standard uncertainty.
double rectangular(double half_width) { return half_width / std::sqrt(3.0); }

/// Relative standard uncertainty of what stands before the meter.
std::optional<double> gain_doubt(const DividerStep& step) {
  if (!step.tolerance_percent) return std::nullopt;
  // Two resistors of one tolerance; the 1 in 1 + upper/lower is exact.
  const double factor = divider_factor(step.parts).value_or(1.0);
  return rectangular(*step.tolerance_percent / 100.0) * std::sqrt(2.0) * (factor - 1.0) / factor;
}
std::optional<double> gain_doubt(const ShuntStep& step) { return step.tolerance_percent ? std::optional(rectangular(*step.tolerance_percent / 100.0)) : std::nullopt; }
std::optional<double> gain_doubt(const TransformerStep& step) { return step.tolerance_percent ? std::optional(rectangular(*step.tolerance_percent / 100.0)) : std::nullopt; }
std::optional<double> gain_doubt(std::monostate) { return 0.0; }

std::string_view part_word(const Chain& chain) {
  constexpr std::array<std::string_view, 4> words{"", "divider", "sense resistor", "current transformer"};
  return words[chain.before_meter.index()];
}

/// The sensor's own share, in kelvin; what is missing goes to `left_out`.
double sensor_doubt(const ThermocoupleStep& step, Celsius t, const InputDoubt& inputs, std::optional<Celsius> junction, std::vector<std::string>& left_out) {
  const auto tolerance = step.tolerance_class ? thermocouple_tolerance(step.type, *step.tolerance_class, t) : std::nullopt;
  if (!tolerance) left_out.push_back(step.tolerance_class ? "the thermocouple's class, which is not defined here" : "the thermocouple's class");
  const bool is_held = step.junction_channel.empty();
  const Celsius terminals = is_held ? step.junction : junction.value_or(junction_assumed);
  const std::optional<double> at_junction = !is_held ? inputs.junction : step.junction_tolerance_kelvin ? std::optional(rectangular(*step.junction_tolerance_kelvin)) : std::nullopt;
  if (!at_junction) left_out.push_back(is_held ? "how far its terminals stray" : "the accuracy of what measures its terminals");
  const auto of_terminals = thermocouple_sensitivity(step.type, terminals);
  const auto of_tip = thermocouple_sensitivity(step.type, t);
  const double ratio = of_terminals && of_tip && *of_tip > 0.0 ? *of_terminals / *of_tip : 1.0;
  return std::hypot(tolerance ? rectangular(tolerance->value) : 0.0, ratio * at_junction.value_or(0.0));
}
double sensor_doubt(const PlatinumStep& step, Celsius t, const InputDoubt&, std::optional<Celsius>, std::vector<std::string>& left_out) {
  if (step.wires == 2 || step.lead.value > 0.0) left_out.emplace_back("how well its leads were measured");
  if (step.tolerance_class) return rectangular(platinum_tolerance(*step.tolerance_class, t).value);
  left_out.emplace_back("the sensor's class");
  return 0.0;
}
double sensor_doubt(const ThermistorStep& step, Celsius, const InputDoubt&, std::optional<Celsius>, std::vector<std::string>& left_out) {
  if (step.divider) left_out.emplace_back("the tolerance of the resistor and of the supply that feed the thermistor");
  if (step.tolerance_kelvin) return rectangular(*step.tolerance_kelvin);
  left_out.emplace_back("the thermistor's tolerance");
  return 0.0;
}
double sensor_doubt(std::monostate, Celsius, const InputDoubt&, std::optional<Celsius>, std::vector<std::string>&) { return 0.0; }

}  // namespace

std::string ohms_words(Ohms resistance) {
  const double r = std::fabs(resistance.value);
  if (r >= 1e9) return short_figure(resistance.value / 1e9) + " GΩ";
  if (r >= 1e6) return short_figure(resistance.value / 1e6) + " MΩ";
  if (r >= 1e3) return short_figure(resistance.value / 1e3) + " kΩ";
  return r >= 0.1 || r == 0.0 ? short_figure(resistance.value) + " Ω" : short_figure(resistance.value * 1e3) + " mΩ";
}

std::string words_of(const Chain& chain) {
  std::string text = accept_words(chain);
  const auto add = [&](const std::string& words) {
    if (!words.empty()) text += (text.empty() ? "" : "; ") + words;
  };
  add(std::visit([](const auto& step) { return say(step); }, chain.before_meter));
  add(std::visit([](const auto& step) { return say(step); }, chain.sensor));
  if (chain.scale != 1.0) add(fmt::format("scale × {}", short_figure(chain.scale)));
  if (chain.offset != 0.0) add(fmt::format("offset {}{} {}", chain.offset > 0.0 ? "+" : "−", short_figure(std::fabs(chain.offset)), chain.to.shown));
  return text;
}

std::optional<Doubt> doubt_of(const Chain& chain, double raw, const InputDoubt& inputs, std::optional<Celsius> junction) {
  const Converted at = convert(chain, raw, Quality::good, junction);
  if (at.quality != Quality::good) return std::nullopt;
  Doubt doubt;
  if (!inputs.meter) doubt.left_out.emplace_back("the meter's accuracy");
  const auto gain = std::visit([](const auto& step) { return gain_doubt(step); }, chain.before_meter);
  if (!gain) doubt.left_out.push_back(fmt::format("the tolerance of the {}", part_word(chain)));
  // Turned round is exact; any other figure was found against another meter, or read off a part.
  if (std::fabs(chain.scale) != 1.0) doubt.left_out.emplace_back("how well its scale was found");
  if (chain.offset != 0.0) doubt.left_out.emplace_back("how well its offset was found");
  const double to_kelvin = chain.scale / chain.to.to_base;
  const Celsius t{(at.value - chain.offset) / to_kelvin};
  const double sensed = std::visit([&](const auto& step) { return sensor_doubt(step, t, inputs, junction, doubt.left_out); }, chain.sensor);
  doubt.standard = std::hypot(at.slope * inputs.meter.value_or(0.0), at.slope * raw * gain.value_or(0.0), sensed * to_kelvin);
  return doubt;
}

}  // namespace steadyglow::sensor
