/// What the engine can say of heat: how near a bias is to feeding itself, and whether air or watts made a part hotter.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/loop_gain.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;

constexpr Duration level_window = std::chrono::minutes{5};
/// Longer ago the loop was another one.
constexpr std::size_t loop_minutes = 240;

/// The points of a role in the order of the profile: the second idle current belongs to the second heatsink.
std::vector<PointId> of_role(const profile::Profile& profile, Role role) {
  std::vector<PointId> points;
  for (std::size_t i = 0; i < profile.points.size(); ++i)
    if (profile.points[i].role == role) points.push_back(PointId{static_cast<std::uint16_t>(i)});
  return points;
}

}  // namespace

/// The electro-thermal loop gain of the stage that this idle current belongs to, from its last hours; empty when they do not tell.
std::string Engine::loop_text(const PointWatch& bias) const {
  const profile::Point& point = bias.point();
  const auto currents = of_role(profile_, Role::bias);
  const auto sinks = of_role(profile_, Role::heatsink);
  const auto supplies = of_role(profile_, Role::supply);
  const bool has_current = point.quantity == Quantity::current || (point.quantity == Quantity::voltage && point.sense);
  if (point.role != Role::bias || sinks.empty() || supplies.empty() || !has_current || !room_point_) return {};
  const auto place = static_cast<std::size_t>(std::find(currents.begin(), currents.end(), bias.id()) - currents.begin());
  const PointWatch& sink = points_[sinks[sinks.size() == currents.size() ? place : 0].index];
  const PointWatch& supply = points_[supplies.front().index];
  const PointWatch& room = points_[room_point_->index];

  std::vector<double> amperes, volts, rise, degrees;
  const double per_reading = point.uom.to_base / (point.quantity == Quantity::voltage ? point.sense->value : 1.0);
  auto b = bias.series().rbegin(), s = sink.series().rbegin(), v = supply.series().rbegin(), r = room.series().rbegin();
  std::int64_t next = b == bias.series().rend() ? -1 : b->index;
  const auto at = [&next](auto& it, const auto& end) {
    while (it != end && it->index > next) ++it;
    return it != end && it->index == next;
  };
  while (amperes.size() < loop_minutes && at(b, bias.series().rend()) && at(s, sink.series().rend()) && at(v, supply.series().rend()) && at(r, room.series().rend())) {
    amperes.push_back(std::fabs(b->raw) * per_reading);
    volts.push_back(std::fabs(to_base(supply.point(), v->raw)));
    rise.push_back(s->raw - r->raw);
    degrees.push_back(r->raw);
    --next;
  }
  for (auto* column : {&amperes, &volts, &rise, &degrees}) std::reverse(column->begin(), column->end());
  const auto found = analysis::find_loop_gain({amperes, volts, {}, rise, degrees, analysis::HeatCounted::all_on_sink});
  if (!found.loop) return {};
  return fmt::format("; its heat feeds it with a loop gain of {:.2f} +/- {:.2f}, and from 1 on nothing stops it", found.loop->gain, 2.0 * found.loop->standard_uncertainty);
}

/// More kelvins for a watt is the air path; more watts is bias or load. Empty when neither can be told.
std::string Engine::heat_text(const PointWatch& watch) const {
  const profile::Point& point = watch.point();
  const auto baseline = watch.baseline();
  if (!point.is_temperature() || !watts_point_ || !room_point_ || !baseline) return {};
  const PointWatch& power = points_[watts_point_->index];
  const auto before = power.baseline();
  const auto watts = power.recent_raw_level(level_window);
  const auto now = watch.recent_raw_level(level_window);
  const auto room = points_[room_point_->index].recent_raw_level(level_window);
  if (!before || !watts || !now || !room || before->raw_level <= 0.0 || *watts <= 0.0) return {};
  const auto resistance = [](double kelvin, double power_watts, double spread) {
    return analysis::ThermalResistance{kelvin / power_watts, spread / power_watts, kelvin, power_watts};
  };
  const double rise_before = baseline->raw_level - baseline->room;
  const auto comparison = analysis::compare_thermal(resistance(rise_before, before->raw_level, baseline->spread), resistance(*now - *room, *watts, baseline->spread));
  switch (comparison.change) {
    case analysis::ThermalChange::air_path:
    case analysis::ThermalChange::both:
      return fmt::format("; {:.0f} % more kelvins for each of its watts than at the baseline: air path or mounting", 100.0 * comparison.resistance_share);
    case analysis::ThermalChange::more_heat:
      return fmt::format("; the watts went up by {:.0f} % and the way out for the heat did not change: look at bias and load", 100.0 * comparison.watts_share);
    default: return {};
  }
}

}  // namespace steadyglow::soak
