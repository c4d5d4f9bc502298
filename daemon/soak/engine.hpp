#pragma once
/// One run of one unit, as a value machine: readings, time and what a person did go in; findings, alarm changes, stage
/// changes, orders and a verdict come out. It sees no clock, file, socket or thread, so the live daemon, the replay of a
/// recording and the tests all get the same from the same.
#include <span>
#include <string>
#include <vector>

#include "analysis/mains_proxy.hpp"
#include "analysis/quiet.hpp"
#include "analysis/transport.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"
#include "soak/act.hpp"
#include "soak/departures.hpp"
#include "soak/event.hpp"
#include "soak/finding_book.hpp"
#include "soak/mains_watch.hpp"
#include "soak/off_watch.hpp"
#include "soak/point_watch.hpp"
#include "soak/policy.hpp"
#include "soak/relations.hpp"
#include "soak/stages.hpp"
#include "soak/start_watch.hpp"
#include "soak/verdict.hpp"

namespace steadyglow::soak {

/// paused: by a person; lost: its supply went, and it waits; bench_open: its bench was opened for another unit.
enum class Power { on, off_by_plan, off_by_person, tripped, paused, lost, bench_open };
std::string_view to_word(Power power);
/// Does the run go on once there is power again?
constexpr bool is_waiting(Power power) { return power == Power::paused || power == Power::lost || power == Power::bench_open; }

/// Below this a supply may be touched after it was measured: common practice (extra-low voltage), no source.
inline constexpr double safe_volts = 50.0;

/// Below this the proof point shows a unit that is off: common practice, no source.
inline constexpr double off_amperes = 0.05;
inline constexpr double off_watts = 2.0;

/// Contract: inputs come in order of time (equal times allowed); a reading older than what was seen counts as taken now.
/// Events of a call stay valid until the next call.
class Engine {
 public:
  Engine(profile::Profile profile, profile::Plan plan, Policy policy = {});
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  /// Readings of one moment. Whole seconds that passed before it are judged first.
  std::span<const Event> take(std::span<const Reading> readings);
  /// Time passed and nothing came.
  std::span<const Event> advance(Timestamp now);
  /// What a person or the bench did. What may not be done now is let pass: ask why_not() first.
  std::span<const Event> act(Timestamp at, const Act& act);
  Result<void> why_not(const Act& act) const;
  std::span<const Event> acknowledge(Timestamp at, std::int64_t alarm, const std::string& who, const std::string& note);
  /// A person wants the unit off.
  std::span<const Event> stop(Timestamp at, const std::string& who, const std::string& why);
  /// The daemon was not there until `at`: the gap is neither counted nor blamed on any meter, and a powered unit starts a
  /// new segment.
  std::span<const Event> resume(Timestamp at, const std::string& why);

  const profile::Profile& profile() const { return profile_; }
  const Stages& stages() const { return stages_; }
  const FindingBook& book() const { return book_; }
  const std::vector<PointWatch>& points() const { return points_; }
  const std::optional<Verdict>& verdict() const { return verdict_; }
  Power power() const { return power_; }
  OffWatch::State off_state() const { return off_.state(); }
  Timestamp off_ordered_at() const { return off_.ordered_at(); }
  const std::string& off_reason() const { return off_reason_; }
  const std::string& off_text() const { return off_text_; }
  /// No reading has come that could prove the order.
  bool is_unprovable() const { return is_unprovable_told_ || !proof_point_; }
  std::string surroundings_now() const { return surroundings_text(); }
  /// What the supplies still hold while the unit is off; empty when there is nothing to say.
  const std::string& bleed_text() const { return bleed_text_; }
  const Policy& policy() const { return policy_; }
  const std::vector<Interruption>& interruptions() const { return interruptions_; }
  const std::vector<SegmentChange>& segments() const { return segments_; }
  const std::optional<Signature>& signature() const { return signature_; }
  /// Hours that count for this point: since a screwdriver moved it.
  Duration counted(PointId point) const { return stages_.counted() - counted_at_touch_[point.index]; }
  Timestamp now() const { return now_; }
  /// Nothing is left to guard or to count.
  bool is_over() const { return verdict_.has_value() && power_ != Power::on; }
  /// Empty while hours count; else why not.
  std::string why_not_counting() const;

 private:
  void perform(const Act& act);
  void perform_on_alarm(const Act& act);
  void interrupt(Timestamp at, Power power, std::string reason, bool is_planned);
  void begin_interruption(Timestamp at, std::string why, bool is_planned);
  void end_interruption(Timestamp at);
  void go_on(const Act& act);
  void stop_by(const Act& act);
  void touch(const Act& act);
  void settle_again(Timestamp now);
  void replace_part(const Act& act);
  void say_segment(std::vector<PointId> points, const std::string& who, std::string why);
  bool is_healthy() const;
  Duration tail_needed() const;
  void note_start(const Reading& reading);
  void want_on(Timestamp now, std::string reason);
  void move_cycles(Timestamp now);
  bool are_cycles_over() const;
  void begin_final_check(Timestamp now);
  bool is_final_check_over(Timestamp now);
  void check_finally(Timestamp now);
  void judge_forecast(Timestamp now);
  void judge_stuck_deck(Timestamp now);
  void judge_proof(Timestamp now);
  void judge_bleed_down(Timestamp now);
  void begin_bleed_down();
  void begin_call(Timestamp at);
  Duration gap_after() const;
  void on_second(Timestamp second);
  void on_minute(Timestamp minute);
  void take_one(const Reading& reading);
  bool is_closing(PointId meter, Timestamp at) const;
  void take_mains(const Reading& reading);
  void take_watts(const Reading& reading);
  void take_proof(const Reading& reading);
  void judge_limits(const PointWatch& watch, const PointWatch::Taken& taken, Timestamp at);
  bool is_explained_by_mains(const PointWatch& watch, const PointWatch::LimitChange& change) const;
  std::string followed_text(PointId id) const;
  void judge_dissipation(const PointWatch& watch, Timestamp at);
  void judge_contact(const PointWatch& watch, const PointWatch::Taken& taken, Timestamp at);
  void judge_meter(const PointWatch& watch, const PointWatch::Taken& taken, Timestamp at);
  bool is_exchanged(const Case& told, PointId& other) const;
  void count_second(Timestamp second);
  const PointWatch* silent_protective_point(Timestamp now) const;
  void judge_silence(Timestamp now);
  void insist_on_silence(Timestamp now);
  void judge_blindness(Timestamp now);
  void lose_the_bench(Timestamp now);
  bool holds_up_the_warm_up(const PointWatch& watch) const;
  void move_phase(Timestamp now);
  void move_stage(Timestamp now);
  void judge_trends(Timestamp now);
  void judge_runaway(PointWatch& watch, Timestamp now);
  std::size_t tail_of(const analysis::Stream& stream, Timestamp now, std::span<double> tail) const;
  void learn_trend_of(PointWatch& watch);
  void tell(const Case& told, Timestamp now);
  void end_departures(Timestamp now);
  std::string loop_text(const PointWatch& bias) const;
  std::string heat_text(const PointWatch& watch) const;
  std::string company_text(const Case& told) const;
  std::string ahead_text(const PointWatch& watch, double direction, Finding& finding) const;
  analysis::Climate::Input climate() const;
  bool is_quiet_point(const profile::Point& point) const;
  bool is_quiet_for(PointId id) const;
  bool are_mains_restless() const;
  void watch_transport(std::span<const Reading> readings);
  bool is_transport_running(std::span<const Reading> readings);
  bool has_company(PointId id, Timestamp at) const;
  bool is_excused_stop(Timestamp at) const;
  bool stands_with_the_transport(const profile::Point& point) const;
  std::optional<double> mains_as_shown(std::int64_t minute);
  void forget_false_quiet(std::int64_t minute);
  void judge_settling_of(PointWatch& watch);
  bool is_judged_for_trend(const PointWatch& watch) const;
  void begin_segment(Timestamp at, std::optional<Duration> warm_up = {}, std::optional<Duration> baseline = {});
  Remarks remarks() const;
  void end_course_findings(Timestamp at, const std::string& why);
  void open_outlet(Timestamp at, Power power, std::string reason);
  void finish(Timestamp at);
  void say_stage(Timestamp at, std::string text);
  Surroundings surroundings() const;
  std::string surroundings_text() const;
  PointWatch& watch(PointId id) { return points_[id.index]; }
  const PointWatch& watch(PointId id) const { return points_[id.index]; }
  /// No good reading for longer than this is silence: the plan's time, and longer for a meter that is asked seldom.
  Duration silent_after(PointId id) const;
  bool is_silent(const PointWatch& watch, Timestamp now) const;

  profile::Profile profile_;
  Policy policy_;
  std::vector<Event> events_;
  FindingBook book_;
  Stages stages_;
  std::vector<PointWatch> points_;
  Departures departures_;
  analysis::Quiet quiet_;                   ///< programme only: the activity point's
  std::vector<analysis::Quiet> quiets_;     ///< programme only: per point, used for idle currents
  std::optional<PointId> activity_point_;   ///< programme only: what tells loud from quiet
  std::vector<DissipationWatch> dissipations_;
  analysis::MainsProxy proxy_;              ///< without a mains point only
  std::optional<double> proxy_ln_mains_;
  analysis::Transport transport_;           ///< with a speed point only
  std::optional<PointId> speed_point_;
  double running_speed_ = 0.0;
  double speed_ = 0.0;
  std::optional<Timestamp> speed_at_;
  std::optional<Timestamp> low_watts_at_;   ///< the newest watts are those of a deck in stop
  MainsWatch mains_;
  OffWatch off_;
  Power power_ = Power::on;
  std::string off_reason_;
  std::string off_text_;
  std::optional<Verdict> verdict_;
  std::optional<Signature> signature_;
  std::vector<Interruption> interruptions_;
  std::vector<SegmentChange> segments_;
  bool is_part_new_ = false;                 ///< replaced since it was on: however short it was off, it warms up wholly
  bool was_healthy_ = true;                  ///< when the supply was lost
  bool is_turn_awaited_ = false;             ///< SwitchOnDue was said for this loss
  std::optional<Timestamp> switched_on_at_ = at_ms(0);  ///< the newest order to close
  bool has_mains_since_on_ = false;
  bool has_run_since_on_ = true;             ///< it drew the power of a running unit since then
  bool is_bench_ordered_ = false;            ///< OpenBench was said for this cut
  bool is_unprovable_told_ = false;
  StartWatch start_watch_;
  std::optional<Start> first_start_;         ///< of the plan's power cycles
  bool is_start_of_cycle_ = false;           ///< the newest start came after an off of the planned length
  std::optional<Timestamp> check_since_;     ///< the final check sees the unit on since then
  bool is_check_awaited_ = false;            ///< the final check wants the unit on
  std::string check_remark_;                 ///< what it could not compare
  int starts_ = 0;
  int cycles_done_ = 0;
  bool is_cycling_ = false;
  std::optional<Timestamp> cycle_since_;     ///< of the present on or off
  std::string bleed_text_;
  std::vector<PointId> bleeding_;            ///< supplies that were above safe_volts when the outlet opened
  std::optional<PointId> bleeds_late_;      ///< told: this one was not below in time
  std::optional<Timestamp> stuck_since_;     ///< the deck stands and draws the power of play
  std::vector<Duration> counted_at_touch_;   ///< per point
  std::vector<std::optional<Timestamp>> touched_at_;  ///< per point
  std::vector<bool> is_settling_again_;      ///< per point: a screwdriver moved it while the unit was judged
  std::vector<bool> has_figures_;            ///< per point: whoever touched it said from what to what
  std::optional<Duration> last_touch_;       ///< counted hours then
  bool needs_whole_tail_ = false;            ///< the touch was large, or one too many
  std::vector<std::string> touched_controls_;
  Duration unseen_{};                        ///< time with power and without a view, in counted stages
  Duration watched_{};                       ///< all time with power in counted stages

  std::optional<PointId> mains_point_;
  std::optional<PointId> watts_point_;
  std::optional<PointId> proof_point_;
  std::optional<PointId> ambient_point_;
  std::optional<PointId> room_point_;       ///< what stands for the room: the ambient point, else the chassis
  std::optional<double> watts_;
  Timestamp watts_at_{};
  std::optional<double> running_watts_;     ///< what the unit usually draws, last minute median while it ran
  std::optional<Timestamp> no_power_since_;
  Duration no_power_wait_{};  ///< from then on, before it is said
  bool draws_no_power_ = false;
  std::optional<Timestamp> drew_at_;         ///< the newest reading that shows a current or watts, where one of them is measured

  Timestamp now_{};
  Timestamp next_second_ = at_ms(1000);
  std::optional<Timestamp> last_input_at_;
  Duration input_interval_{};                ///< usual distance of inputs
  Duration unconfirmed_{};                   ///< seconds under conditions since the last input: the next one confirms them
  Timestamp watched_from_{};                 ///< nobody can be called silent for what was before
  bool has_no_view_ = false;                 ///< a protective point is silent
  bool is_cut_blind_ = false;                ///< the trip was for want of sight, not for what was seen
  std::vector<Duration> intervals_;          ///< per point, typical distance of its readings
  std::vector<Duration> counted_when_seen_;  ///< per point, the counted hours at its last good reading
  std::vector<Timestamp> bad_since_;         ///< per point, since when only bad readings came
  std::vector<bool> is_bad_;
  std::vector<PointId> newly_silent_;
  std::optional<Timestamp> newly_silent_at_;
};

}  // namespace steadyglow::soak
