#pragma once
/// One figure of the unit through the night, minute by minute, and whether it has left the course that mains, room, heat and
/// settling explain: over hours by the ramp test of course.hpp, over minutes by movement against its own habit.
#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>

#include "analysis/climate.hpp"
#include "analysis/course.hpp"
#include "analysis/traits.hpp"

namespace steadyglow::analysis {

/// How far a figure usually moves within some minutes, by this unit's own night: learned an hour late, so that what is
/// judged now has not yet excused itself.
class Habit {
 public:
  static constexpr std::size_t late_minutes = 60;
  explicit Habit(double expected_sd) : square_(expected_sd * expected_sd) {}
  void learn(double moved);
  double sd() const;

 private:
  static constexpr double prior_minutes = 60.0;   ///< how many minutes of its own habit outweigh what was expected
  static constexpr double memory_minutes = 480.0;
  std::array<float, late_minutes> waiting_{};
  std::size_t next_ = 0;
  std::size_t filled_ = 0;
  double square_;
  double weight_ = prior_minutes;
};

class Stream {
 public:
  /// What is known of a departure, in y; see Scale.
  struct State {
    bool is_departed = false;
    bool is_quick = false;          ///< seen as a movement of minutes, not as a course of hours
    double moved = 0.0;
    double moved_sd = 0.0;
    bool is_abrupt = false;         ///< is_quick: nearly all of it within two minutes
    double quick_minutes = 0.0;     ///< is_quick: within how many minutes
    double per_hour = 0.0;
    std::int64_t since_minute = 0;  ///< when it began, as far as can be told
  };

  Stream(const Traits& traits, bool is_difference);

  /// A segment begins: everything about levels is forgotten.
  void begin(std::int64_t minute);
  /// The figure in that minute, on the scale of the traits, from so many readings.
  void add(std::int64_t minute, double y, std::uint32_t readings);
  /// A minute is over (its climate is known): judges. is_judging: false while it only learns.
  void judge(std::int64_t minute, const Climate& climate, Course& course, bool is_judging, Prior mains_learned, double margin_least);

  const State& state() const { return state_; }
  const Traits& traits() const { return traits_; }
  /// The likeliest slow departure at the last block, however weak: for naming causes.
  double leaning() const { return fit_ && fit_->departure ? fit_->departure->moved : 0.0; }
  double leaning_z() const { return fit_ && fit_->departure ? fit_->departure->z() : 0.0; }
  /// How far the figure jumped in the last two minutes, its surroundings left in; 0 when it was not seen.
  double jump(std::int64_t minute) const;
  /// The newest movement within that many minutes (one of the horizons, or near it), compensated; for naming.
  double move_within(double minutes) const;
  /// The last minutes without a gap, oldest first, with mains, room and heat taken out so that the newest stands as
  /// measured; at most into.size(). Returns how many.
  std::size_t unbroken(std::int64_t minute, const Climate& climate, std::span<double> into) const;
  /// How far it usually moves within a quarter of an hour.
  double habit() const { return habits_[1].sd(); }
  double habit_within(double minutes) const;
  /// Over the room, in kelvin (temperatures).
  double rise() const { return rise_; }
  const std::optional<CourseFit>& fit() const { return fit_; }

 private:
  struct Block {
    std::int64_t index;
    float y;
  };
  std::size_t columns(const ClimateNow& climate, double age_minutes, std::array<double, course_columns_max>& x) const;
  void priors(const Climate& climate, Prior mains_learned, std::vector<Prior>& into) const;
  std::optional<double> block_level(std::int64_t index, std::int64_t minute) const;
  void learn_noise(const CourseFit& fit);
  void judge_block(std::int64_t minute, const Climate& climate, Course& course, bool is_judging, Prior mains_learned, double margin_least);
  void judge_quick(std::int64_t minute, const Climate& climate, bool is_judging, double margin_least);
  bool has_begun_cold() const;
  double unseen_allowance(const Climate& climate, double room_kelvin) const;
  double cooling_factor(double moved) const;
  static std::size_t horizon_of(double minutes);
  std::int64_t silent_minutes(const Climate& climate) const;
  double early_doubt(double age_minutes) const;
  double widening(std::int64_t minute) const;
  void depart(const State& state);
  void follow_departure(std::int64_t minute, const Climate& climate, double margin_least);

  static constexpr std::array<std::int64_t, 4> horizons{6, 12, 25, 50};
  static constexpr std::size_t minutes_kept = Climate::recent_minutes;

  Traits traits_;
  bool is_difference_;
  std::int64_t begun_ = 0;
  std::deque<Block> blocks_;
  struct MinuteValue {
    std::int64_t minute = -1;
    double y = 0.0;
    std::uint32_t readings = 0;
  };
  std::array<MinuteValue, minutes_kept> minutes_{};
  std::optional<CourseFit> fit_;
  CourseNoise noise_;
  std::array<Habit, 4> habits_;
  std::array<unsigned, 4> quick_votes_{};   ///< bits: the last three minutes
  double rise_ = 20.0;
  std::optional<double> first_;        ///< of the whole run: a warm start shows in it
  std::array<double, 4> moves_{};      ///< the newest, per horizon
  int slow_votes_ = 0;
  State state_;
  std::array<double, course_columns_max> frozen_{};
  int minutes_back_ = 0;
};

}  // namespace steadyglow::analysis
