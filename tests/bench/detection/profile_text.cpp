#include "bench/detection/profile_text.hpp"

#include <fmt/format.h>

namespace steadyglow::detection {
namespace {

/// A float in TOML needs its point.
std::string number(double value) {
  const std::string text = fmt::format("{:.6g}", value);
  return text.find_first_of(".e") == std::string::npos ? text + ".0" : text;
}

std::string band(const char* key, std::optional<double> low, std::optional<double> high) {
  if (!low && !high) return {};
  std::string inside;
  if (low) inside += "low = " + number(*low);
  if (high) inside += (low ? ", high = " : "high = ") + number(*high);
  return fmt::format("{} = {{ {} }}\n", key, inside);
}

}  // namespace

std::string profile_text(const Unit& unit) {
  std::string text = fmt::format("[profile]\nkind = \"{}\"\nmains_nominal_volts = {}\ndrive = \"{}\"\n", unit.kind, number(unit.nominal_volts), unit.drive);
  for (const Probe& probe : unit.probes) {
    text += fmt::format("\n[[point]]\nname = \"{}\"\nquantity = \"{}\"\nuom = \"{}\"\nrole = \"{}\"\n", probe.name, probe.quantity, probe.uom, probe.role);
    if (probe.nominal) text += "nominal = " + number(*probe.nominal) + "\n";
    text += band("warn", probe.warn_low, probe.warn_high);
    text += band("trip", probe.trip_low, probe.trip_high);
    if (probe.sense_ohms) text += "sense_ohms = " + number(*probe.sense_ohms) + "\n";
    if (probe.matched_with.empty()) continue;
    std::string others;
    for (const std::string& other : probe.matched_with) others += (others.empty() ? "\"" : ", \"") + other + "\"";
    text += "matched_with = [" + others + "]\n";
  }
  return text;
}

}  // namespace steadyglow::detection
