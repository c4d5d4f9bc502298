#pragma once
/// What every driver's instrument file says of a channel, whatever the wire: how a raw number becomes a value, and when it is none.
#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "core/quality.hpp"
#include "core/uom.hpp"
#include "drivers/bus_spec.hpp"

namespace steadyglow::drivers {

/// A raw value by which the device says that it has no reading, and what that means.
struct Sentinel {
  double raw = 0.0;
  Quality quality = Quality::implausible;
};

struct ChannelRule {
  std::string name;
  Quantity quantity = Quantity::voltage;
  std::string uom;     ///< UCUM symbol
  double scale = 1.0;  ///< value = raw * scale + offset, in the uom
  double offset = 0.0;
  double plausible_low = -std::numeric_limits<double>::infinity();  ///< in the uom
  double plausible_high = std::numeric_limits<double>::infinity();
  std::vector<Sentinel> sentinels;
};

/// What the rest of the program knows of it.
inline ChannelInfo info_of(const ChannelRule& rule) { return {rule.name, rule.quantity, rule.uom, rule.plausible_low, rule.plausible_high}; }

/// Raw to value. A sentinel, a figure outside the plausible band or one that is no number is never good; it is never clamped.
inline ChannelValue judge(const ChannelRule& rule, double raw) {
  const double value = raw * rule.scale + rule.offset;
  const double as_met = std::isfinite(value) ? value : 0.0;
  for (const Sentinel& sentinel : rule.sentinels)
    if (raw == sentinel.raw) return {as_met, sentinel.quality};
  if (!std::isfinite(value) || value < rule.plausible_low || value > rule.plausible_high) return {as_met, Quality::implausible};
  return {value, Quality::good};
}

}  // namespace steadyglow::drivers
