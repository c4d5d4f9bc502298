#include "soak/relations.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/statistics.hpp"

namespace steadyglow::soak {
namespace {

constexpr Duration level_window = std::chrono::minutes{10};

void collect(const profile::Profile& profile, PointId from, std::set<PointId>& into) {
  if (!into.insert(from).second) return;
  for (const PointId next : profile.point(from).matched_with) collect(profile, next, into);
}

double imbalance(double a, double b) {
  const double mean = 0.5 * (a + b);
  return mean == 0.0 ? 0.0 : (a - b) / mean;
}

double median_without(const std::vector<double>& values, std::size_t skip) {
  std::vector<double> others;
  for (std::size_t i = 0; i < values.size(); ++i)
    if (i != skip) others.push_back(values[i]);
  return analysis::median_in_place(others);
}

}  // namespace

std::vector<MatchedGroup> matched_groups(const profile::Profile& profile) {
  std::vector<MatchedGroup> groups;
  std::set<PointId> grouped;
  for (std::size_t i = 0; i < profile.points.size(); ++i) {
    const PointId id{static_cast<std::uint16_t>(i)};
    if (grouped.contains(id) || profile.point(id).matched_with.empty()) continue;
    std::set<PointId> members;
    collect(profile, id, members);
    grouped.insert(members.begin(), members.end());
    groups.push_back({{members.begin(), members.end()}, 0, 0, std::nullopt});
  }
  return groups;
}

std::optional<Imbalance> worst_imbalance(const MatchedGroup& group, const std::vector<PointWatch>& points) {
  std::vector<double> now;
  std::vector<double> then;
  for (const PointId id : group.points) {
    const auto level = points[id.index].recent_level(level_window);
    if (!level) return std::nullopt;
    now.push_back(*level);
    if (const auto baseline = points[id.index].baseline()) then.push_back(baseline->level);
  }
  const bool has_start = then.size() == now.size();
  std::optional<Imbalance> worst;
  double worst_score = -1.0;
  for (std::size_t i = 0; i < now.size(); ++i) {
    Imbalance candidate{group.points[i], imbalance(now[i], median_without(now, i)), std::nullopt, now[i]};
    double score = std::fabs(candidate.now);
    if (has_start) {
      candidate.at_start = imbalance(then[i], median_without(then, i));
      // Who moved more from its own start is the one that is named, also in a pair.
      score = std::fabs(candidate.now - *candidate.at_start) + 1e-3 * std::fabs(now[i] / then[i] - 1.0) * 100.0;
    }
    if (score > worst_score) {
      worst = candidate;
      worst_score = score;
    }
  }
  return worst;
}

std::optional<double> siblings_share(const PointWatch& watch, const std::vector<PointWatch>& points, double moved) {
  std::vector<double> shares;
  for (const PointId id : watch.point().matched_with) {
    const PointWatch& sibling = points[id.index];
    const auto level = sibling.recent_level(level_window);
    const auto baseline = sibling.baseline();
    if (level && baseline && moved != 0.0) shares.push_back((*level - baseline->level) / moved);
  }
  if (shares.empty()) return std::nullopt;
  return analysis::median_in_place(shares);
}

DissipationWatch::DissipationWatch(PointId bias, PointId supply, const profile::Profile& profile) : bias_(bias), supply_(supply) {
  const profile::Point& point = profile.point(bias);
  amperes_per_reading_ = point.uom.to_base / (point.quantity == Quantity::voltage ? point.sense->value : 1.0);
  volts_per_reading_ = profile.point(supply).uom.to_base;
  constexpr double deadband_share = 0.05;
  for (const double share : {warn_share, trip_share}) {
    analysis::LimitPolicy policy;
    policy.limit = share * point.rated->value;
    policy.deadband = deadband_share * point.rated->value;
    policy.on_delay = share == trip_share ? profile::trip_dwell_default : profile::warn_dwell_default;
    policy.off_delay = profile::warn_dwell_default;
    limits_.emplace_back(policy);
  }
}

std::vector<DissipationWatch::Change> DissipationWatch::step(Timestamp at, double bias, double supply) {
  const double watts = std::fabs(bias * amperes_per_reading_ * supply * volts_per_reading_);
  std::vector<Change> changes;
  for (std::size_t i = 0; i < limits_.size(); ++i)
    if (const auto change = limits_[i].step(at, watts)) changes.push_back({i == 1, *change, watts, limits_[i].policy().limit});
  return changes;
}

void DissipationWatch::clear() {
  for (analysis::LimitWatch& limit : limits_) limit.clear();
}

std::vector<DissipationWatch> dissipation_watches(const profile::Profile& profile) {
  std::vector<DissipationWatch> watches;
  const auto supply = profile.first_of(profile::Role::supply);
  if (!supply) return watches;
  for (std::size_t i = 0; i < profile.points.size(); ++i) {
    const profile::Point& point = profile.points[i];
    const bool has_current = point.quantity == Quantity::current || (point.quantity == Quantity::voltage && point.sense);
    if (point.role == profile::Role::bias && point.rated && has_current) watches.emplace_back(PointId{static_cast<std::uint16_t>(i)}, *supply, profile);
  }
  return watches;
}

}  // namespace steadyglow::soak
