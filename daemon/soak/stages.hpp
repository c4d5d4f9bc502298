#pragma once
#include <optional>
#include <string>
#include <vector>

#include "profile/plan.hpp"

namespace steadyglow::soak {

/// How far the unit is known: a segment warms up, takes its baseline, and is then judged against it.
/// Every touch of a screwdriver and every loss of supply begins a new segment.
enum class Phase { warming, taking_baseline, judging };

/// Walks through the plan. Passed time moves an uncounted stage, counted time a counted one.
class Stages {
 public:
  explicit Stages(profile::Plan plan);

  const profile::Plan& plan() const { return plan_; }
  std::size_t index() const { return index_; }
  bool is_done() const { return index_ >= plan_.stages.size(); }
  const profile::Stage* current() const { return is_done() ? nullptr : &plan_.stages[index_]; }
  Duration counted() const { return counted_; }
  Duration in_stage() const { return in_stage_; }
  Phase phase() const { return phase_; }
  Duration in_phase() const { return in_phase_; }
  /// What this segment needs.
  Duration warm_up() const { return needed_warm_up_.value_or(warm_up_); }
  Duration baseline() const { return needed_baseline_.value_or(baseline_); }
  int segment() const { return segment_; }

  /// Adds passed time to the stage and the phase.
  void pass(Duration passed);
  /// Adds to the counted hours what is known to have passed under conditions.
  void count(Duration passed);
  /// Takes back what turned out to have passed unseen.
  void uncount(Duration unseen);
  /// Has the current stage lasted as long as planned? (its warm-up and baseline may be made to wait by the engine)
  bool is_stage_over() const;
  void next_stage();
  void enter(Phase phase);
  /// With less than the plan's warm-up and baseline after a short loss.
  void begin_segment(std::optional<Duration> warm_up = {}, std::optional<Duration> baseline = {});
  /// A part was replaced: no hour counts any more, and the plan begins again.
  void restart();

 private:
  profile::Plan plan_;
  std::size_t index_ = 0;
  Duration in_stage_{};
  Duration counted_{};
  Duration counted_in_stage_{};
  Phase phase_ = Phase::warming;
  Duration in_phase_{};
  Duration warm_up_{};
  Duration baseline_{};
  std::optional<Duration> needed_warm_up_;
  std::optional<Duration> needed_baseline_;
  int segment_ = 0;
};

}  // namespace steadyglow::soak
