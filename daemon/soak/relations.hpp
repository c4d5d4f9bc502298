#pragma once
#include <optional>
#include <vector>

#include "soak/point_watch.hpp"

namespace steadyglow::soak {

/// Points that a technician matched: pairs, quads, left and right.
struct MatchedGroup {
  std::vector<PointId> points;
  int minutes_out = 0;
  int minutes_in = 0;
  std::optional<PointId> named;  ///< of the finding that stands
};

std::vector<MatchedGroup> matched_groups(const profile::Profile& profile);

/// Distance of one point from the median of its siblings: (a - b) / ((a + b) / 2), for a pair the usual imbalance.
struct Imbalance {
  PointId point;
  double now = 0.0;                ///< of the point that stands furthest off
  std::optional<double> at_start;  ///< the same figure at the baseline
  double value = 0.0;              ///< the point's own level, in uom
};
std::optional<Imbalance> worst_imbalance(const MatchedGroup& group, const std::vector<PointWatch>& points);

/// How the siblings of a point moved from their baselines, relative to how it moved itself: median; nothing without siblings.
std::optional<double> siblings_share(const PointWatch& watch, const std::vector<PointWatch>& points, double moved);

}  // namespace steadyglow::soak
