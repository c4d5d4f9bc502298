#pragma once
/// Single wild readings mean nothing; wild readings that come back in groups are a bad joint.
#include <array>
#include <cstdint>
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

class Bursts {
 public:
  static constexpr double spreads_wild = 8.0;
  static constexpr Duration group_gap = std::chrono::minutes{3};
  static constexpr Duration window = std::chrono::hours{3};
  /// A change that stays this long is a step, not a burst.
  static constexpr Duration step_after = std::chrono::minutes{3};
  /// A group of several counts two, and one more for each gap's length that it lasts; a lone spike counts one. So many
  /// within the window speak: less is a lead that was touched.
  static constexpr Duration weighed_after = std::chrono::minutes{2};
  static constexpr int score_needed = 6;
  static constexpr int groups_needed = 2;

  struct Told {
    int groups = 0;
    Duration within{};
  };
  /// level, spread: of the minute before. least: what a reading must be off at all, in uom.
  /// Returns what there is to say when the score is reached.
  std::optional<Told> step(Timestamp at, double value, double level, double spread, double least);
  /// No wild reading for a whole window.
  bool is_calm(Timestamp now) const;
  void clear() { *this = Bursts{}; }

 private:
  struct Group {
    Timestamp first{};
    Timestamp last{};
    int wild = 0;
    bool has_ended = false;  ///< readings were normal again after it
    bool is_step = false;
    bool is_weighed = false;
    double level_before = 0.0;
  };
  static constexpr std::size_t groups_kept = 16;
  std::array<Group, groups_kept> groups_{};
  std::size_t count_ = 0;  ///< all that ever were
};

}  // namespace steadyglow::analysis
