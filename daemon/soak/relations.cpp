#include "soak/relations.hpp"

#include <cmath>


namespace steadyglow::soak {
DissipationWatch::DissipationWatch(PointId bias, PointId supply, const profile::Profile& profile) : bias_(bias), supply_(supply) {
  const profile::Point& point = profile.point(bias);
  amperes_per_reading_ = point.uom.to_base / (point.quantity == Quantity::voltage ? point.sense->value : 1.0);
  rated_watts_ = point.rated->value;
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

double DissipationWatch::share(double bias, double supply) const { return std::fabs(bias * amperes_per_reading_ * supply * volts_per_reading_) / rated_watts_; }

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
