#include "app/clip_list.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "core/decimal.hpp"
#include "sensor/chain_words.hpp"
#include "soak/engine.hpp"

namespace steadyglow::app {
namespace {

using profile::Role;

/// A rating is asked for with this to spare, in steps of 50 V: common practice, no source.
constexpr double rating_reserve = 1.25;
constexpr double rating_step_volts = 50.0;

bool is_heated_part(Role role) { return role == Role::heatsink || role == Role::transformer || role == Role::motor || role == Role::chassis; }

/// The largest figure that the profile states for a voltage point, in V.
std::optional<double> stated_volts(const profile::Point& point) {
  if (point.quantity != Quantity::voltage) return std::nullopt;
  std::optional<double> most;
  for (const auto& figure : {point.nominal, point.warn.low, point.warn.high, point.trip.low, point.trip.high})
    if (figure) most = std::max(most.value_or(0.0), std::fabs(*figure) * point.uom.to_base);
  return most;
}

/// The highest supply of the unit: what a small voltage becomes when the resistor or the insulation between them gives way.
std::optional<double> highest_supply(const profile::Profile& profile) {
  std::optional<double> most;
  for (const profile::Point& point : profile.points) {
    if (point.role != Role::supply && point.role != Role::grid_bias) continue;
    if (const auto volts = stated_volts(point)) most = std::max(most.value_or(0.0), *volts);
  }
  return most;
}

/// All of a meter hangs where one of its channels does: the frequency of an energy meter is mains too.
bool is_at_mains(const UnitSettings& unit, const PointBinding& binding) {
  return std::any_of(unit.points.begin(), unit.points.end(), [&](const PointBinding& other) {
    return other.bus == binding.bus && other.meter == binding.meter && unit.profile.point(other.point).is_mains();
  });
}

ClipSign sign_of(const profile::Point& point, bool is_mains) {
  if (is_mains) return ClipSign::none;
  if (point.is_temperature()) return ClipSign::rises_with_heat;
  if ((point.nominal && *point.nominal < 0.0) || point.role == Role::grid_bias) return ClipSign::negative;
  if (point.role == Role::offset) return ClipSign::either;
  return point.quantity == Quantity::voltage || point.quantity == Quantity::current ? ClipSign::positive : ClipSign::none;
}

std::string words_of(ClipSign sign) {
  switch (sign) {
    case ClipSign::positive: return "positive against its reference";
    case ClipSign::negative: return "negative against its reference";
    case ClipSign::either: return "either; about zero";
    case ClipSign::rises_with_heat: return "rises with heat; a thermocouple whose wires are swapped falls";
    case ClipSign::none: break;
  }
  return "none";
}

ClipReference reference_of(const profile::Point& point, bool is_mains) {
  if (is_mains || (point.quantity != Quantity::voltage && point.quantity != Quantity::current)) return ClipReference::none;
  if (point.role == Role::bias) return ClipReference::own_resistor;
  if (point.role == Role::heater) return ClipReference::other_pin;
  return ClipReference::ground;
}

std::string words_of(ClipReference reference, const profile::Point& point, bool is_mains) {
  switch (reference) {
    case ClipReference::ground: return "the unit\u2019s ground, by one lead only";
    case ClipReference::own_resistor: return "the low end of its own resistor";
    case ClipReference::other_pin: return "the other heater pin";
    case ClipReference::none: break;
  }
  if (is_mains) return "none: a meter made for mains, at the unit\u2019s inlet";
  return point.is_temperature() && is_heated_part(point.role) ? "none: keep the sensor insulated from the part" : "none";
}

std::string rating_words(double volts) { return fmt::format("{:.0f} V DC or more", std::ceil(volts * rating_reserve / rating_step_volts) * rating_step_volts); }

std::vector<std::string> cautions_of(const profile::Point& point, const Clip& clip) {
  std::vector<std::string> cautions;
  if (clip.is_mains) {
    cautions.emplace_back("mains: by an energy meter or transformer rated for it, CAT II or higher for the local mains voltage; never by an analogue input");
    return cautions;
  }
  const double worst = std::max(clip.expected_volts.value_or(0.0), clip.at_worst_volts.value_or(0.0));
  if (point.is_temperature()) {
    if (is_heated_part(point.role)) cautions.emplace_back(worst > 0.0 ? fmt::format("the part may be live, up to {:.0f} V: pad or insulate the sensor", worst) : "the part may be live: pad or insulate the sensor");
    return cautions;
  }
  if (point.quantity != Quantity::voltage && point.quantity != Quantity::current) return cautions;
  if (worst > soak::safe_volts) cautions.push_back("lead, clip and divider with a working rating of " + rating_words(worst) + ", shrouded and fused; a CAT rating alone says nothing about B+");
  if (clip.at_worst_volts && clip.expected_volts && *clip.at_worst_volts > 2.0 * *clip.expected_volts && *clip.at_worst_volts > soak::safe_volts)
    cautions.push_back(fmt::format("may jump to {:.0f} V when a resistor opens: clamp the meter\u2019s input", *clip.at_worst_volts));
  if (worst == 0.0) cautions.emplace_back("the profile states no voltage: take the highest supply of the unit for it");
  return cautions;
}

std::string chain_words(const PointBinding& binding, const drivers::ChannelInfo& channel) {
  const auto uom = find_uom(channel.quantity, channel.uom);
  const std::string read = fmt::format("the meter reads {}", uom && !uom->shown.empty() ? uom->shown : "a number");
  const std::string words = sensor::words_of(binding.chain);
  return words.empty() ? read + ", taken as it is" : read + "; " + words;
}

std::string first_word(const std::string& words) { return words.substr(0, words.find_first_of(" ,:;")); }

}  // namespace

std::string_view to_word(ClipSign sign) {
  constexpr std::array<std::string_view, 5> words{"none", "positive", "negative", "either", "rises_with_heat"};
  return words[static_cast<std::size_t>(sign)];
}
std::string_view to_word(ClipReference reference) {
  constexpr std::array<std::string_view, 4> words{"none", "ground", "own_resistor", "other_pin"};
  return words[static_cast<std::size_t>(reference)];
}

std::vector<std::string> clip_cautions() {
  return {"Fit every clip with the unit switched off, unplugged, cold and discharged. Measure that it is discharged before you touch.",
          "One hand, no rings; covers back on as in use before power comes.",
          "Input modules share one common and are not rated for mains or high voltage: a divider with a clamped low arm, or an isolated converter, stands before them.",
          "One earth only: a second one through a meter or a computer carries current. Bridged outputs have no earthed terminal at all.",
          "Local electrical code and a person qualified for it decide; this list does not."};
}

std::vector<Clip> clip_list(const UnitSettings& unit, const std::vector<drivers::BusSpec>& buses) {
  const auto supply = highest_supply(unit.profile);
  std::vector<Clip> clips;
  for (std::size_t i = 0; i < unit.profile.points.size(); ++i) {
    const profile::Point& point = unit.profile.points[i];
    const auto binding = std::find_if(unit.points.begin(), unit.points.end(), [&](const PointBinding& one) { return one.point.index == i; });
    if (binding == unit.points.end()) continue;
    const auto& bus = buses[binding->bus];
    const auto& meter = bus.meters[binding->meter];
    const auto& channel = meter.channels[binding->channel];
    Clip clip;
    clip.point = point.name;
    clip.channel = meter.name + "." + channel.name;
    clip.bus = fmt::format("{} ({})", bus.name, bus.where);
    clip.where = point.note;
    if (clip.where.empty() && point.sense) clip.where = fmt::format("across its {} \u03a9 resistor", to_figure(point.sense->value, 4));
    clip.chain = chain_words(*binding, channel);
    clip.is_mains = is_at_mains(unit, *binding);
    clip.between = first_word(sensor::words_of(binding->chain));
    clip.sign = sign_of(point, clip.is_mains);
    clip.reference = reference_of(point, clip.is_mains);
    clip.sign_words = words_of(clip.sign);
    clip.reference_words = words_of(clip.reference, point, clip.is_mains);
    clip.quantity = to_word(point.quantity);
    clip.shown_uom = point.uom.shown;
    clip.nominal = point.nominal;
    clip.is_protective = point.is_protective;
    clip.expected_volts = stated_volts(point);
    const bool is_in_the_unit = !clip.is_mains && point.role != Role::ambient && (point.quantity == Quantity::voltage || point.quantity == Quantity::current || is_heated_part(point.role));
    if (is_in_the_unit) clip.at_worst_volts = supply;
    clip.cautions = cautions_of(point, clip);
    clips.push_back(std::move(clip));
  }
  return clips;
}

}  // namespace steadyglow::app
