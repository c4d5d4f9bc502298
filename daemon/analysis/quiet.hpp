#pragma once
/// Programme is never still, but it has quiet moments: only there do currents and rails show what the unit itself does.
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

/// Takes what tells of activity (the watts, an idle current) and says whether the moment is quiet: near the floor that the
/// last hours came back to again and again. Music that never pauses has no floor, and nothing is quiet then.
class Quiet {
 public:
  static constexpr std::size_t minutes_kept = 240;
  static constexpr double near_share = 0.05;
  static constexpr double loose_share = 0.60;
  /// A floor is a level that so many minutes came down to.
  static constexpr std::size_t visits_least = 4;

  void step(Timestamp at, double activity);
  /// The newest two samples were near the floor.
  bool is_quiet() const { return is_near_ && was_near_; }
  bool is_within(double share) const { return floor_ && newest_ <= *floor_ * (1.0 + share); }
  std::optional<double> floor() const { return floor_; }
  /// The floor has turned out to lie lower, once after each time: what went for quiet before was not.
  bool take_fall();
  void clear() { *this = Quiet{}; }

 private:
  void close_minute();
  std::array<double, minutes_kept> lows_{};  ///< lowest of each minute
  std::size_t next_ = 0;
  std::size_t filled_ = 0;
  std::int64_t minute_ = -1;
  double lowest_ = 0.0;
  double second_ = 0.0;
  int count_ = 0;
  std::optional<double> floor_;
  double newest_ = 0.0;
  bool is_near_ = false;
  bool was_near_ = false;
  bool has_fallen_ = false;
  int minutes_above_ = 0;   ///< since the last visit to the floor
  int longest_above_ = 0;   ///< between visits, so far
};

}  // namespace steadyglow::analysis
