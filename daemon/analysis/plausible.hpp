#pragma once
/// Readings that no unit can have caused: what meters send when they have nothing to say.
#include <optional>

#include "core/timestamp.hpp"
#include "profile/profile.hpp"

namespace steadyglow::analysis {

/// Judges single readings of one point. A heavy part cannot change by tens of kelvin between two readings; an overload
/// comes as 9.9E37; a broken probe as the end of a register.
class Plausible {
 public:
  static constexpr double celsius_least = -45.0;
  static constexpr double celsius_most = 250.0;
  static constexpr double heavy_jump_kelvin = 30.0;         ///< in one step
  static constexpr double heavy_kelvin_per_minute = 6.0;    ///< and nothing with mass heats faster than this for long
  static constexpr double volts_most = 1e6;                 ///< of any electrical figure, in its uom: instruments say 9.9E37

  explicit Plausible(const profile::Point& point) : is_temperature_(point.is_temperature()), is_heavy_(is_temperature_ && point.role != profile::Role::ambient) {}
  bool step(Timestamp at, double value);
  void clear() { last_.reset(); }

 private:
  bool is_temperature_;
  bool is_heavy_;
  std::optional<double> last_;
  Timestamp last_at_{};
};

}  // namespace steadyglow::analysis
