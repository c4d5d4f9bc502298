#pragma once
/// Everything that is known about one point of one run.
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "analysis/bursts.hpp"
#include "analysis/compensation.hpp"
#include "analysis/contact.hpp"
#include "analysis/limit.hpp"
#include "analysis/minute.hpp"
#include "analysis/plausible.hpp"
#include "analysis/roughness.hpp"
#include "analysis/series.hpp"
#include "analysis/settling.hpp"
#include "analysis/stuck.hpp"
#include "analysis/traits.hpp"
#include "analysis/trend.hpp"
#include "core/reading.hpp"
#include "profile/profile.hpp"

namespace steadyglow::soak {

/// What a point was when it was accepted as the reference. Kept for every segment, never overwritten.
struct Baseline {
  Timestamp at{};
  int segment = 0;
  double level = 0.0;      ///< compensated, in uom
  double spread = 0.0;     ///< robust standard deviation of the minutes, in uom
  double raw_level = 0.0;
  double ln_mains = 0.0;
  double room = 0.0;       ///< degC, as the point felt it
  double to_go = 0.0;      ///< what was still to settle when it was taken, in uom
  double tau_minutes = 1.0;

  /// Where the point is expected `age_minutes` after the baseline, if nothing changes.
  double expected(double age_minutes) const { return level + to_go * (1.0 - std::exp(-age_minutes / tau_minutes)); }
};

/// What the unit as a whole was doing when a minute ended.
struct Surroundings {
  std::optional<double> ln_mains;  ///< ln(V / V nominal)
  std::optional<double> room;      ///< degC
};

class PointWatch {
 public:
  PointWatch(const profile::Point& point, PointId id, profile::Drive drive);

  struct LimitChange {
    bool is_trip = false;
    bool is_high = false;
    bool is_active = false;
    double limit = 0.0;
    Duration dwell{};
  };
  struct Taken {
    analysis::ContactVerdict contact = analysis::ContactVerdict::fine;
    bool contact_changed = false;
    std::vector<LimitChange> limits;
    std::optional<analysis::Bursts::Told> bursts;
    bool is_rough = false;
    bool is_stuck = false;
    bool is_reversed = false;
    bool is_below_floor = false;  ///< under programme: an idle current that is gone, music or not
  };
  /// Could a unit have caused this reading? Else it is what a meter sends when it has nothing to say.
  bool is_plausible(const Reading& reading) { return !reading.is_good() || plausible_.step(reading.at(), reading.value()); }
  /// What the moment of a reading is like.
  struct Moment {
    bool is_disturbed = false;  ///< the mains sag, so what falls with them is no news
    bool is_telling = true;     ///< it shows the unit, not the programme: only then does the reading count for trends
    bool is_restless = false;   ///< the mains move: a reading that breaks away has its excuse
    bool has_company = false;   ///< other figures of the unit changed just now
    std::optional<double> quiet_floor;  ///< under programme: what an idle current comes back to between the notes
    bool is_standing = false;   ///< its transport stands: a figure that falls to nothing has its reason
    bool is_doubtful = false;   ///< its transport may have stopped since it was last seen turning
  };
  /// Takes a reading; limits are judged on its raw value.
  Taken take(const Reading& reading, std::optional<double> watts, Timestamp watts_at, const Moment& moment);

  /// What was telling but doubtful counts after all, at `at`.
  void believe_doubtful(Timestamp at);
  /// It was read of a transport that stood.
  void drop_doubtful() { doubtful_.clear(); }

  /// Closes the minute before `now` and learns from it.
  void close_minute(Timestamp now, const Surroundings& surroundings);
  /// The unit lost its supply or starts afresh: what was learned about levels no longer holds.
  void begin_segment();
  /// Limits that a cold unit is beyond wait until it has once been inside.
  void disarm_cold_limits();
  void arm_all_limits();
  void freeze_baseline(Timestamp at, int segment, Duration window);

  const profile::Point& point() const { return *point_; }
  PointId id() const { return id_; }
  const analysis::Expectation& expectation() const { return expectation_; }
  const std::optional<Reading>& latest() const { return latest_; }
  std::optional<Timestamp> last_good_at() const { return last_good_at_; }
  std::optional<double> last_good() const { return last_good_; }
  /// The minute that was closed last.
  const std::optional<analysis::Minute>& minute() const { return closed_; }
  std::optional<Timestamp> last_wild_at() const { return last_wild_at_; }
  double times_rougher() const { return roughness_.times(); }
  Timestamp stuck_since() const { return stuck_.since(); }
  /// Neither stuck nor reversed at the last reading.
  bool has_sane_meter() const { return !is_stuck_ && reversed_ == 0; }
  /// Under programme: it stands below what it always came back to.
  bool is_below_floor() const { return below_floor_since_.has_value(); }
  void forget_bursts() { bursts_.clear(); }
  bool has_calm_contact(Timestamp now) const { return bursts_.is_calm(now); }
  /// The smallest movement that this meter can show, on the scale of the traits: a few of its digits, or what its
  /// accuracy statement leaves to chance.
  double least_visible() const;
  bool would_collapse(double value) const { return has_contact_watch_ && !contact_.is_lost() && contact_.is_collapse(value); }
  /// The newest reading against the minute before: 0.2 is 20 % (offsets: of the limit). Nothing while there is no minute.
  std::optional<double> newest_change() const;
  bool is_contact_lost() const { return contact_.is_lost(); }
  bool is_beyond_warn() const;
  const std::vector<Baseline>& baselines() const { return baselines_; }
  /// The baseline of this segment, if it has been taken.
  std::optional<Baseline> baseline() const { return is_baseline_current_ ? std::optional(baselines_.back()) : std::nullopt; }
  const analysis::Series& series() const { return series_; }
  double mains_exponent() const { return exponent_.value(); }
  double mains_exponent_sd() const { return expectation_.is_exponent_learned ? exponent_.sd() : expectation_.mains_exponent_sd; }
  /// Compensated value of one stored minute with the coefficient known now.
  double compensated(const analysis::SeriesMinute& minute) const;
  /// Median of the compensated minutes in the last `window` before the newest one; nothing when fewer than half are there.
  std::optional<double> recent_level(Duration window) const;
  std::optional<double> recent_raw_level(Duration window) const;
  /// Compensated minutes of the last `window`: index, hours, value.
  void columns(Duration window, std::vector<std::int64_t>& minutes, std::vector<double>& hours, std::vector<double>& values) const;

  // Judged once a minute by the engine, shown on the page.
  analysis::Settling settling;
  analysis::SettlingTolerance settling_tolerance;
  std::optional<analysis::Trend> trend;
  int minutes_close = 0;    ///< for how long a runaway has been about to meet its trip limit

 private:
  struct Limit {
    analysis::LimitWatch watch;
    bool is_trip;
    bool is_cold_side;  ///< a cold unit (0) is beyond it
  };
  void add_limit(std::optional<double> limit, bool is_high, bool is_trip);
  void step_limits(Timestamp at, double value, bool is_disturbed, std::vector<LimitChange>& changes);

  const profile::Point* point_;
  PointId id_;
  analysis::Expectation expectation_;
  analysis::MainsExponent exponent_;
  analysis::Lag mains_lag_;
  analysis::Lag room_lag_;
  double ln_mains_known_ = 0.0;        ///< as this point feels it; 0 while nobody has measured it
  analysis::Traits traits_;
  bool is_programme_;
  analysis::MinuteCollector minute_;
  std::optional<analysis::Minute> closed_;
  std::vector<double> doubtful_;
  double digit_ = 0.0;                 ///< smallest difference seen between two readings; 0: none yet
  analysis::Series series_;
  analysis::ContactWatch contact_;
  std::vector<Limit> limits_;
  bool are_cold_limits_armed_ = false;
  std::optional<Timestamp> inside_since_;
  void judge_meter(const Reading& reading, const Moment& moment, Taken& taken);
  double wild_least() const;

  analysis::Plausible plausible_;
  bool has_contact_watch_;
  analysis::Bursts bursts_;
  analysis::Stuck stuck_;
  analysis::Roughness roughness_;
  std::optional<Timestamp> last_wild_at_;
  std::optional<Timestamp> below_floor_since_;
  int reversed_ = 0;
  bool is_stuck_ = false;
  std::optional<Reading> latest_;
  std::optional<Timestamp> last_good_at_;
  std::optional<double> last_good_;
  std::optional<double> watts_;
  std::vector<Baseline> baselines_;
  bool is_baseline_current_ = false;
};

}  // namespace steadyglow::soak
