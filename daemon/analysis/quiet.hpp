#pragma once
/// Programme is never still, but it has quiet moments: only there do currents and rails show what the unit itself does.
#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

/// Takes what tells of activity (the watts, else an idle current) and says whether the moment is quiet: near the low level
/// that the last two hours came back to.
class Quiet {
 public:
  static constexpr std::size_t minutes_kept = 120;
  static constexpr double near_share = 0.05;
  static constexpr double loose_share = 0.60;

  void step(Timestamp at, double activity);
  /// The newest two samples were near the low level.
  bool is_quiet() const { return is_near_ && was_near_; }
  bool is_within(double share) const { return level_ && newest_ <= *level_ * (1.0 + share); }
  std::optional<double> level() const { return level_; }
  void clear() { *this = Quiet{}; }

 private:
  void close_minute();
  std::array<double, minutes_kept> lows_{};
  std::size_t next_ = 0;
  std::size_t filled_ = 0;
  std::int64_t minute_ = -1;
  double lowest_ = 0.0;
  double second_ = 0.0;
  int count_ = 0;
  std::optional<double> level_;
  double newest_ = 0.0;
  bool is_near_ = false;
  bool was_near_ = false;
};

}  // namespace steadyglow::analysis
