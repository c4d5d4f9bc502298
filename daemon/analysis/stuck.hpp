#pragma once
/// A reading that stands to the last digit far longer than this one ever did: the meter has stopped, not the unit.
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

class Stuck {
 public:
  static constexpr double calm_runs = 5.0;
  static constexpr Duration stuck_least = std::chrono::minutes{20};
  static constexpr int readings_least = 20;
  static constexpr int changes_least = 60;  ///< before that its habit is not known
  /// Of its changes, so many at least were of more than one digit: a coarse meter between two digits may stand for hours.
  static constexpr int fine_share = 3;  ///< one in three
  static constexpr Duration habit_least = std::chrono::hours{2};

  /// True while the reading counts as stuck.
  bool step(Timestamp at, double value);
  Timestamp since() const { return since_; }
  void clear() { *this = Stuck{}; }

 private:
  std::optional<double> value_;
  Timestamp since_{};
  int readings_ = 0;
  int changes_ = 0;
  int large_changes_ = 0;
  double digit_ = 0.0;   ///< smallest change seen
  Duration longest_calm_{};
  Timestamp last_{};
  std::optional<Timestamp> begun_;
};

}  // namespace steadyglow::analysis
