#pragma once
/// What the chain of a point comes to in figures: what its channel can reach, one worked number, and how far that can be off.
#include <optional>
#include <string>
#include <vector>

#include "app/settings.hpp"
#include "core/result.hpp"

namespace steadyglow::app {

/// A value that the point is likely to have: its nominal, else the middle of its limits, else its only limit, else one in the channel's band.
double likely_value(const profile::Point& point, const PointBinding& binding);

/// Why a point cannot be meant to be read through this chain: its channel does not reach the nominal value, not one of the limits, or not
/// beyond a trip limit although the point is protective. Nothing when it does. `scale` in the hint is what would fit.
std::optional<Error> why_out_of_reach(const profile::Point& point, const PointBinding& binding);
/// Trip limits that no good reading of the channel can be beyond: a reading outside its band is none, and such a limit never trips.
std::vector<std::string> limits_out_of_reach(const profile::Point& point, const PointBinding& binding);

/// One worked number.
struct Worked {
  double raw = 0.0;    ///< in the channel's uom
  double value = 0.0;  ///< in the point's
  std::optional<double> expanded_uncertainty;  ///< k = 2, of all that is stated; empty when the meter's accuracy is not
  std::vector<std::string> left_out;           ///< what is not stated, and therefore not in it
};
/// Nothing where no raw value gives the point a likely value.
std::optional<Worked> work(const Settings& settings, const UnitSettings& unit, const PointBinding& binding);

/// The same chain for the record: its words, and its standard uncertainty over the values that the point may have.
record::Wire wire_of(const Settings& settings, const UnitSettings& unit, const PointBinding& binding, std::size_t meter);

}  // namespace steadyglow::app
