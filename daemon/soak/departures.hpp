#pragma once
/// Which points have left their course, alone or with others, and which of them is the cause.
#include <vector>

#include "analysis/climate.hpp"
#include "analysis/stream.hpp"
#include "soak/point_watch.hpp"
#include "soak/relations.hpp"

namespace steadyglow::soak {

/// A departure with its reasons, ready to be told.
struct Case {
  PointId named;                   ///< the likeliest cause
  std::vector<PointId> with;       ///< others that move for the same reason
  analysis::Stream::State state;   ///< of the named point, or of its difference from its siblings
  bool is_difference = false;      ///< seen only against the siblings
  bool is_common = false;          ///< all matched points together
  bool is_consequence = false;     ///< follows from what has been told already
  bool is_undecided = false;       ///< of a pair, either may be the one that moved
};

class Departures {
 public:
  explicit Departures(const profile::Profile& profile);

  void begin_segment(Timestamp at);
  /// What was taken for this point's quiet moments was none: it is learned anew.
  void forget(PointId point, std::int64_t minute);
  /// A person moved this point: it, and what is compared with it, is learned anew, whatever was found.
  void restart(PointId point, std::int64_t minute);
  /// A minute is over: `points` have closed it. Judges every stream; is_judging: false while it only learns.
  void step(std::int64_t minute, const std::vector<PointWatch>& points, const analysis::Climate::Input& climate, bool is_judging);
  /// What left its course in this minute and has not been told.
  std::vector<Case> fresh();
  /// Neither the point nor its difference from its siblings is off its course (any more).
  bool is_calm(PointId point) const;
  const analysis::Stream& own(PointId point) const { return own_[point.index]; }
  /// The minute in which somebody changed the drive, if it was this one.
  bool has_changed_drive(std::int64_t minute) const { return drive_changed_at_ == minute; }
  const analysis::Climate& climate() const { return climate_; }
  bool is_judged(PointId point) const { return own_[point.index].traits().is_judged; }

 private:
  struct Difference {
    PointId point;
    analysis::Stream stream;
  };
  bool has_drive_changed(std::int64_t minute, bool is_judging) const;
  /// How far a point has moved, seen as the departure `like` was seen: over the same minutes, or as a course of hours.
  double deviation(PointId point, const analysis::Stream::State& like) const;
  bool has_moved(PointId point, const analysis::Stream::State& like) const;
  bool is_upstream_of(PointId cause, PointId effect) const;
  std::vector<PointId> upstream_movers(PointId effect, const analysis::Stream::State& like) const;
  Case explain(PointId point, const analysis::Stream::State& state) const;
  std::optional<Case> explain_difference(const Difference& difference) const;
  std::optional<PointId> told_cause_of(const Difference& difference) const;

  const profile::Profile* profile_;
  analysis::Climate climate_;
  analysis::Course course_;
  std::vector<analysis::Stream> own_;
  std::vector<Difference> differences_;
  std::int64_t drive_changed_at_ = -1;
  std::vector<bool> is_told_;             ///< per point
  std::vector<bool> was_departed_;        ///< per point, a minute ago
  std::vector<bool> is_difference_told_;  ///< per difference: it was weighed, and said or not
  std::vector<bool> is_difference_said_;  ///< per point
};

}  // namespace steadyglow::soak
