#pragma once
/// One unit at the bench: its points, its outlet, and its run while there is one.
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "acquire/bus_thread.hpp"
#include "alarm/fact.hpp"
#include "app/bench_clock.hpp"
#include "app/conversions.hpp"
#include "app/retell.hpp"
#include "app/settings.hpp"
#include "http/view.hpp"
#include "notify/words.hpp"
#include "outlet/keeper.hpp"
#include "outlet/rehearsal.hpp"
#include "soak/act.hpp"
#include "soak/engine.hpp"
#include "soak/policy.hpp"
#include "store/reader.hpp"
#include "store/store.hpp"

namespace steadyglow::app {

/// What a session needs of its surroundings. Called on the loop.
struct SessionLinks {
  /// Writes the unit's relay; `done` comes on the loop.
  std::function<void(bool on, std::function<void(Result<void>)> done)> write_outlet;
  /// How the unit's relay stands, as the device says; `done` comes on the loop.
  std::function<void(std::function<void(Result<bool>)> done)> ask_outlet;
  /// Reads the meter that proves the outlet, before its turn.
  std::function<void()> read_proof_soon;
  /// The bench contactor: its owner is the bench.
  std::function<void(const std::string& reason, bool locks)> open_bench;
  std::function<Result<void>(const std::string& who)> close_bench;
  /// Asks for a turn to be switched on, one unit after the other; take_turn() is called when it has come.
  std::function<void(bool wants)> want_turn;
  /// Have the bench's mains been steady for long enough?
  std::function<bool()> are_mains_steady;
  std::function<bool(std::size_t bus)> is_bus_silent;
  std::function<std::string(const std::string& meter)> identity;  ///< what a meter last called itself; may be empty
  std::function<std::string(std::size_t bus)> bus_name;
  std::function<void(const alarm::Fact&)> alarm_changed;
  /// What a rehearsal showed of the bench contactor: it obeyed, or it did not.
  std::function<void(bool has_obeyed, const std::string& text)> contactor_rehearsed;
  /// For the journal.
  std::function<void(const std::string& kind, const nlohmann::ordered_json&)> remember;
  std::function<void(const std::string& event, nlohmann::ordered_json)> publish;
};

/// Thread: loop only. Order of work for every input: the engine first, then the relay, then the store and the listeners.
class UnitSession {
 public:
  UnitSession(const UnitSettings& settings, double clock_rate, store::Store& store, SessionLinks links);

  void take(const acquire::MeterBatch& batch);
  /// Lets run time pass up to `now`, and writes the relay if it is due.
  void tick(Boottime now);

  /// Why a start would be refused; switches nothing.
  Result<void> may_start(const std::string& who, bool is_at_the_bench) const;
  Result<void> start(const std::string& who, bool is_at_the_bench, const soak::Policy& policy = {});
  /// What a person, or the bench, did to the run that is going on.
  Result<void> act(soak::Act act);
  /// The run becomes unattended under this policy.
  Result<void> leave(const soak::Policy& policy);
  /// The turn that want_turn() asked for.
  void take_turn();
  /// The bench contactor was opened, for another unit or by a person: this one has lost its supply too.
  void bench_was_opened(const std::string& why);
  /// The hardware watchdog opened the contacts while this program stood still.
  void supply_was_cut(const std::string& why);
  /// Its device was silent and answers again: it is asked how the relay stands.
  void doubt_relay();

  /// Begins a trip rehearsal; the unit must be drawing power. `with_contactor`: the bench contactor too.
  Result<void> rehearse(const std::string& who, bool with_contactor);
  const std::optional<outlet::Rehearsal>& rehearsal() const { return rehearsal_; }
  const std::string& rehearsed_by() const { return rehearsed_by_; }
  /// What the journal says of this unit's relay.
  void restore_contact(bool is_defective, bool is_unproven, const std::string& why);
  /// The journal says that only a person at the bench may switch on again; the outlet is ordered off once more.
  void restore_lock(const std::string& why);
  Result<void> repaired(const std::string& who, const std::string& note);
  Result<void> stop(const std::string& who, const std::string& why);
  /// `alarm` as in alarm_id(); false when it is not one of ours.
  bool owns_alarm(std::int64_t alarm) const;
  Result<http::AlarmView> acknowledge(std::int64_t alarm, const std::string& who, const std::string& note);

  /// Takes up a run that the store says is still going on, from what was stored of it.
  Result<void> recover(store::StoreReader& reader, const store::RunRow& row);
  /// The unit's last run, which has ended: to be looked at, acknowledged and signed.
  void show_ended(const store::RunRow& row, Retold told);

  const UnitSettings& settings() const { return *settings_; }
  const outlet::Keeper& keeper() const { return keeper_; }
  const soak::Engine* engine() const { return run_ ? run_->engine.get() : nullptr; }
  const soak::Policy& policy() const;
  /// Power is meant to flow and something must watch it.
  bool is_powered() const { return run_ && run_->engine->power() == soak::Power::on && !run_->engine->is_over(); }
  const std::deque<Did>& did() const { return story_.did(); }
  /// What had been counted by then.
  Duration counted_at(std::int64_t utc_ms) const;
  std::optional<double> amperes() const;
  /// What it draws, or drew last while it was on, or is said to draw.
  std::optional<double> amperes_expected() const;
  /// Does it draw power by a reading that is newer than this?
  bool draws_power_since(Boottime since) const;
  /// Has it run for so long (run time) without being left, in this run, and was not cut in it?
  bool was_attended_for(Duration time) const;
  /// The newest reading of a point, and for how long (run time) it has been so.
  struct PointNow {
    Quality quality = Quality::no_answer;
    double value = 0.0;
    double age_s = 1e9;
  };
  PointNow point_now(PointId id) const;
  /// For a message: is it off, and what is around it.
  notify::UnitSituation situation() const;
  Timestamp run_now() const { return run_ ? run_->last_fed : Timestamp{}; }
  std::string utc_of(Timestamp at) const;
  std::optional<std::int64_t> run_id() const { return run_ ? std::optional(run_->id) : std::nullopt; }
  http::UnitView view() const;
  std::vector<http::AlarmView> alarms() const;
  nlohmann::json findings() const;
  /// A run is going on and has not been fed or ticked since `before`.
  bool is_stuck(Boottime before) const { return run_ && run_->is_fed && last_moved_ < before; }

 private:
  struct Run {
    std::int64_t id = 0;
    std::string started_utc;
    std::unique_ptr<soak::Engine> engine;
    RunTime time{Boottime{}, 1.0};
    Timestamp last_fed{};
    bool is_fed = true;  ///< false once it is over and cooled down
    bool is_end_stored = false;
    bool is_steady_told = false;   ///< supply_steady was said for the present loss
    bool wants_relay_state = false;  ///< after a restart, or a silence of its bus: the device is still to be asked
  };
  struct Latest {
    double value = 0.0;
    Quality quality = Quality::no_answer;
    Boottime taken_at{};
    bool is_seen = false;
  };

  void hear(std::span<const soak::Event> events);
  void hear_one(const soak::Finding& finding);
  void hear_one(const soak::AlarmRecord& record);
  void hear_one(const soak::OpenOutlet& order);
  void hear_one(const soak::StageChange& change);
  void hear_one(const soak::Verdict& verdict);
  void hear_one(const soak::OpenBench& order);
  void hear_one(const soak::CloseOutlet& order);
  void hear_one(const soak::SegmentChange& change);
  template <class Event>
  void hear_one(const Event& event);
  void obey(const soak::OpenOutlet& order);
  void obey(const soak::CloseOutlet& order);
  void obey(const soak::OpenBench& order);
  void obey(const soak::SwitchOnDue& order);
  void feed(soak::Act act);
  void ask_how_the_relay_stands();
  void rehearse_on();
  void end_rehearsal();
  void mark_relay_defective(const std::string& why);
  RunTime time_of(const store::RunRow& row) const;
  void adopt(const store::RunRow& row, Retold told);
  void note_engine(std::int64_t run, Timestamp at);
  void remember_lock();
  alarm::Fact fact_of(const soak::AlarmRecord& record) const;
  void store_event(Timestamp at, std::string_view kind, const nlohmann::ordered_json& json);
  void write_if_due();
  void end_run_when_over(Timestamp now);
  http::AlarmView alarm_view(const soak::AlarmRecord& record) const;
  http::OutletView outlet_view() const;
  std::optional<http::RunView> run_view() const;
  http::PointView point_view(PointId id) const;
  std::optional<http::WorstView> worst(const std::vector<http::PointView>& points) const;
  /// Amperes or watts flow, as far as the proof point tells; nothing when it does not.
  std::optional<bool> draws_power() const;
  double mains_volts_assumed() const;

  const UnitSettings* settings_;
  double clock_rate_;
  store::Store& store_;
  SessionLinks links_;
  outlet::Keeper keeper_;
  std::optional<Run> run_;
  Conversions conversions_;
  std::vector<Latest> latest_;  ///< per point, run or no run
  Boottime last_moved_{};
  bool is_relay_refusing_ = false;
  bool is_lock_remembered_ = false;
  Story story_;
  std::optional<double> last_amperes_;  ///< highest of the last minute or so while it was on
  std::optional<outlet::Rehearsal> rehearsal_;
  std::string rehearsed_by_;
  bool is_rehearsal_ended_ = true;
  bool rehearses_contactor_ = false;  ///< the next open and close go to the bench contactor
  bool is_turn_ = false;              ///< what is closed now was set beforehand by turn_of_
  std::string turn_of_;
  std::string turn_why_;
  std::string cannot_close_;
  Boottime proof_asked_{};
  Boottime relay_asked_{};
};

/// Alarms are numbered within their run; the outside sees one number.
inline constexpr std::int64_t alarms_per_run = 10000;
/// After the outlet has opened for good the cooling is recorded for this long.
inline constexpr Duration cooling_recorded = std::chrono::minutes{30};

}  // namespace steadyglow::app
