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
  Duration longest_calm_{};
  Timestamp last_{};
  std::optional<Timestamp> begun_;
};

}  // namespace steadyglow::analysis
