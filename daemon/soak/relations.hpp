#pragma once
#include <optional>
#include <vector>

#include "soak/point_watch.hpp"

namespace steadyglow::soak {

/// What a tube turns into heat, against what its maker allows.
/// P = Va * I with I from the drop over the sense resistor: an upper bound, for the screen current is in I (5 to 8 %,
/// from memory) and the cathode's volts are in Va.
class DissipationWatch {
 public:
  /// Of the rated watts: the trade's 75 % (common practice, no source) and the 6 % by which an upper bound is too high.
  static constexpr double warn_share = 0.80;
  static constexpr double trip_share = 1.00;

  struct Change {
    bool is_trip = false;
    bool is_active = false;
    double watts = 0.0;
    double limit_watts = 0.0;
  };

  DissipationWatch(PointId bias, PointId supply, const profile::Profile& profile);
  PointId bias() const { return bias_; }
  PointId supply() const { return supply_; }
  /// A good reading of the bias point (its uom) and the newest good one of the supply (its uom).
  std::vector<Change> step(Timestamp at, double bias, double supply);
  void clear();
  /// Of the rated watts, at this bias (its uom) and supply (its uom).
  double share(double bias, double supply) const;

 private:
  PointId bias_;
  PointId supply_;
  double amperes_per_reading_;
  double volts_per_reading_;
  double rated_watts_;
  std::vector<analysis::LimitWatch> limits_;
};

/// One for each bias point that names its rated watts and, for a voltage, its sense resistor; needs a supply point.
std::vector<DissipationWatch> dissipation_watches(const profile::Profile& profile);

}  // namespace steadyglow::soak
