#pragma once
/// A limit with an on-delay, an off-delay and a deadband, on good samples only.
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

/// Active only when the value stays beyond the limit for the whole on-delay; returns only when it stays within
/// limit minus deadband for the whole off-delay. Meaning after OPC UA Part 9 (5.8, B.1.5); the sample edge is ours:
/// beyond since t0 acts at the first sample with t - t0 >= delay.
struct LimitPolicy {
  double limit = 0.0;
  bool is_high = true;
  double deadband = 0.0;
  Duration on_delay{};
  Duration off_delay{};
};

/// Without a good sample for this long, what was pending starts afresh: a gap is never bridged.
inline constexpr Duration pending_gap_max = std::chrono::minutes{3};

class LimitWatch {
 public:
  explicit LimitWatch(LimitPolicy policy) : policy_(policy) {}

  /// Takes a good sample; true or false when the state changed to that.
  std::optional<bool> step(Timestamp at, double value);
  /// Forgets what is pending and what is active.
  void clear();
  bool is_active() const { return is_active_; }
  /// Beyond the limit at the last sample, whatever the delay says.
  bool is_beyond() const { return beyond_since_.has_value(); }
  const LimitPolicy& policy() const { return policy_; }

 private:
  LimitPolicy policy_;
  std::optional<Timestamp> beyond_since_;
  std::optional<Timestamp> within_since_;
  std::optional<Timestamp> last_;
  bool is_active_ = false;
};

}  // namespace steadyglow::analysis
