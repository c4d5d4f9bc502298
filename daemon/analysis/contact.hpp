#pragma once
/// Did the unit change, or has the clip come off? The watts are the witness.
#include <cmath>
#include <cstdint>
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

enum class ContactVerdict {
  fine,      ///< the reading may be used
  suspect,   ///< it fell to almost nothing in one sample; the witness has not spoken yet
  lost,      ///< the unit goes on as before: the clip is off
  real,      ///< the watts moved as well: the unit itself changed
};

/// A reading collapses to almost zero in one sample. If the mains watts, measured after that, stand where they stood, it is
/// the contact; if they moved, or anything else moved with it, the fall is real. Without a witness a fall to nothing at all
/// is the contact, for a stage that fails leaves something.
class ContactWatch {
 public:
  static constexpr double collapsed_share = 0.1;   ///< of the level before: less than this is "almost nothing"
  static constexpr double watts_share = 0.06;      ///< a real loss of a stage moves the watts by more than this
  static constexpr double returned_share = 0.15;   ///< back within this of the level before: the clip is on again
  static constexpr double nothing_share = 0.02;    ///< of the level before: nothing at all
  static constexpr Duration witness_after = std::chrono::seconds{2};
  static constexpr Duration decide_within = std::chrono::seconds{100};

  /// Tells the level that the reading is usually at (the median of this minute of the run), and the watts at that time. A minute that
  /// ended before a real fall was understood is no level to fall from: the watts of now are not those of then.
  void learn(double level, std::optional<double> watts, std::int64_t minute);
  /// watts: the newest good reading of the mains power; watts_at: when it was taken. has_company: other figures of the
  /// unit changed with it, so the unit did.
  ContactVerdict step(Timestamp at, double value, std::optional<double> watts, Timestamp watts_at, bool has_company);
  /// Almost nothing, against the level before.
  bool is_collapse(double value) const { return level_ && std::fabs(value) < collapsed_share * std::fabs(*level_); }
  void clear();
  bool is_lost() const { return state_ == State::lost; }
  std::optional<double> level_before() const { return level_; }

 private:
  enum class State { attached, suspect, lost };
  State state_ = State::attached;
  Timestamp since_{};
  std::optional<double> level_;
  std::optional<double> watts_;
  std::optional<double> watts_before_;
  double usual_ = 0.0;  ///< highest level of the run
  int back_ = 0;
  std::optional<std::int64_t> real_in_;  ///< minute of the last real fall
};

}  // namespace steadyglow::analysis
