#pragma once
#include <compare>
#include <cstdint>

namespace steadyglow {

/// A number that names one thing and cannot be taken for another: Id<PointTag> and Id<UnitTag> do not mix.
template <class Tag>
struct Id {
  std::uint16_t index = 0;
  friend constexpr auto operator<=>(Id, Id) = default;
};

/// Position of a point in its profile's list of points.
using PointId = Id<struct PointTag>;
/// Position of a unit in the bench configuration.
using UnitId = Id<struct UnitTag>;

}  // namespace steadyglow
