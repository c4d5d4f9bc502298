#include "analysis/traits.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::analysis {

using profile::Role;

namespace {

Traits relative(Prior mains, double room_sd, double settle_sd, CourseNoise noise, double margin) {
  return {Scale::logarithm, 1.0, mains, room_sd, 0.0, settle_sd, noise, margin, 1.4 * margin, true};
}

/// The trade's 50 mV, or the nearer of the point's own warning limits.
double offset_limit(const profile::Point& point) {
  double nearest = 0.050 / point.uom.to_base;
  if (point.warn.high) nearest = std::fabs(*point.warn.high);
  if (point.warn.low && *point.warn.low < 0.0) nearest = point.warn.high ? std::min(nearest, std::fabs(*point.warn.low)) : std::fabs(*point.warn.low);
  return nearest > 0.0 ? nearest : 0.050 / point.uom.to_base;
}

Traits by_role(const profile::Point& point) {
  constexpr double decibels_per_neper = 8.685889638;
  if (point.uom.symbol == "dB") {
    Traits traits = relative({0.0, 0.3}, 0.001, 0.02, {0.002, 0.003}, 0.022);
    traits.scale = Scale::linear;
    traits.unit = decibels_per_neper;
    return traits;
  }
  // A chassis feels sun and draughts first, and tells of faults last.
  if (point.role == Role::chassis && point.is_temperature()) return {Scale::kelvin, 1.0, {2.0, 1.0}, 0.0, 0.0, 0.0, {0.15, 0.6}, 2.5, 4.0, true};
  // A motor's driver is heated by what the motor does: the outer tracks, the heavy reel.
  if (point.role == Role::motor && point.is_temperature()) return {Scale::kelvin, 1.0, {2.0, 1.0}, 0.0, 0.0, 0.0, {0.10, 1.5}, 2.0, 4.0, true};
  if (point.is_temperature()) return {Scale::kelvin, 1.0, {2.0, 1.0}, 0.0, 0.0, 0.0, {0.10, 0.40}, 1.2, 2.0, point.role != Role::ambient};
  switch (point.role) {
    case Role::bias: return relative({1.3, 0.6}, 0.013, 0.10, {0.003, 0.006}, 0.030);
    case Role::grid_bias: return relative({0.9, 0.4}, 0.001, 0.03, {0.001, 0.002}, 0.015);
    case Role::supply: return relative({0.7, 0.5}, 0.001, 0.02, {0.001, 0.002}, 0.014);
    case Role::heater: return relative({0.9, 0.3}, 0.001, 0.03, {0.001, 0.002}, 0.018);
    case Role::supply_current: return relative({1.0, 0.6}, 0.004, 0.08, {0.003, 0.006}, 0.035);
    case Role::mains_power: return relative({1.5, 0.6}, 0.003, 0.05, {0.002, 0.005}, 0.030);
    case Role::mains_current: return relative({0.5, 0.6}, 0.003, 0.05, {0.004, 0.006}, 0.045);
    case Role::level: return relative({0.0, 0.3}, 0.001, 0.02, {0.002, 0.003}, 0.022);
    case Role::speed: return relative({0.0, 0.02}, 0.0002, 0.003, {0.0003, 0.0006}, 0.0026);
    case Role::offset: {
      Traits traits{Scale::linear, offset_limit(point), {0.0, 0.3}, 0.0, 0.0, 0.25, {0.01, 0.03}, 0.16, 0.24, true};
      traits.room_sd = 0.002 / point.uom.to_base / traits.unit;
      return traits;
    }
    default: {
      Traits traits = relative({0.0, 0.5}, 0.004, 0.06, {0.004, 0.012}, 0.075);
      traits.is_judged = point.role != Role::mains_voltage;
      return traits;
    }
  }
}

}  // namespace

Traits traits_of(const profile::Point& point, profile::Drive drive, bool has_transport) {
  Traits traits = by_role(point);
  const bool turns_with_it = point.role == Role::motor || point.role == Role::supply_current || point.role == Role::mains_power || point.role == Role::mains_current || point.role == Role::other;
  if (has_transport && turns_with_it && traits.scale == Scale::logarithm) {
    traits.noise = {0.03, 0.05};
    traits.margin = 0.20;
    traits.margin_quick = 0.30;
  }
  // Solenoids and motors heat with every start: what the watts say of it comes late.
  if (has_transport && traits.scale == Scale::kelvin) {
    traits.noise.wander_sd = 1.0;
    traits.margin = 4.0;
    traits.margin_quick = 12.0;
    traits.silent_minutes = 240;
  }
  // Tape and disc have wow and drop-outs of their own.
  if (has_transport && point.role == Role::level) {
    traits.margin = 0.05;
    traits.margin_quick = 0.09;
  }
  if (point.role == Role::speed) traits.margin_quick = traits.margin;
  if (point.quantity == Quantity::state || point.quantity == Quantity::energy) traits.is_judged = false;
  if (drive == profile::Drive::programme) {
    // Programme is in everything electrical; what is left in the quiet moments still remembers the loud ones.
    const bool is_programme_itself = point.role == Role::mains_power || point.role == Role::mains_current || point.role == Role::level || point.role == Role::supply_current;
    if (is_programme_itself) traits.is_judged = false;
    if (traits.scale == Scale::kelvin) {
      traits.noise.wander_sd *= 1.5;
      traits.margin *= 2.0;
      traits.margin_quick *= 2.0;
    }
    if (traits.scale != Scale::kelvin && point.role != Role::speed && point.role != Role::heater) {
      traits.power_sd = 0.05;
      traits.is_sparse = point.role == Role::bias || point.role == Role::supply || point.role == Role::grid_bias;
      traits.is_lifted = point.role == Role::bias;
      if (traits.is_sparse) traits.silent_minutes = 180;
      traits.noise.wander_sd *= 2.0;
      traits.noise.white_sd *= 2.0;
      traits.margin *= traits.is_lifted ? 4.0 : 2.0;
      traits.margin_quick *= traits.is_lifted ? 4.0 : 2.5;
    }
  }
  return traits;
}

std::optional<double> on_scale(const Traits& traits, double value) {
  constexpr double nothing = 1e-9;
  if (traits.scale == Scale::kelvin) return value;
  if (traits.scale == Scale::linear) return value / traits.unit;
  if (std::fabs(value) < nothing) return std::nullopt;
  return std::log(std::fabs(value));
}

Traits traits_of_difference(const Traits& own) {
  Traits traits = own;
  traits.mains = {0.0, own.scale == Scale::logarithm ? 0.25 * own.mains.sd : 0.3};
  traits.room_sd = 0.4 * own.room_sd;
  traits.settle_sd = 0.6 * own.settle_sd;
  traits.noise = {own.noise.white_sd, 0.6 * own.noise.wander_sd};
  traits.margin = 0.9 * own.margin;
  traits.margin_quick = 0.9 * own.margin_quick;
  return traits;
}

}  // namespace steadyglow::analysis
