#pragma once
/// One unit at the bench: its points, its outlet, and its run while there is one.
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "acquire/bus_thread.hpp"
#include "app/bench_clock.hpp"
#include "app/settings.hpp"
#include "http/view.hpp"
#include "outlet/keeper.hpp"
#include "soak/engine.hpp"
#include "store/reader.hpp"
#include "store/store.hpp"

namespace steadyglow::app {

/// What a session needs of its surroundings. Called on the loop.
struct SessionLinks {
  /// Writes the unit's relay; `done` comes on the loop.
  std::function<void(bool on, std::function<void(Result<void>)> done)> write_outlet;
  /// Reads the meter that proves the outlet, before its turn.
  std::function<void()> read_proof_soon;
  std::function<void(const std::string& event, nlohmann::ordered_json)> publish;
};

/// Thread: loop only. Order of work for every input: the engine first, then the relay, then the store and the listeners.
class UnitSession {
 public:
  UnitSession(const UnitSettings& settings, double clock_rate, store::Store& store, SessionLinks links);

  void take(const acquire::MeterBatch& batch);
  /// Lets run time pass up to `now`, and writes the relay if it is due.
  void tick(Boottime now);

  Result<void> start(const std::string& who, bool is_at_the_bench);
  Result<void> stop(const std::string& who, const std::string& why);
  /// `alarm` as in alarm_id(); false when it is not one of ours.
  bool owns_alarm(std::int64_t alarm) const;
  Result<http::AlarmView> acknowledge(std::int64_t alarm, const std::string& who, const std::string& note);

  /// Takes up a run that the store says is still going on, from what was stored of it.
  Result<void> recover(store::StoreReader& reader, const store::RunRow& row);

  const UnitSettings& settings() const { return *settings_; }
  std::optional<std::int64_t> run_id() const { return run_ ? std::optional(run_->id) : std::nullopt; }
  http::UnitView view() const;
  std::vector<http::AlarmView> alarms() const;
  nlohmann::json findings() const;
  /// A run is going on and has not been fed or ticked since `before`.
  bool is_stuck(Boottime before) const { return run_ && last_moved_ < before; }

 private:
  struct Run {
    std::int64_t id = 0;
    std::string started_utc;
    std::unique_ptr<soak::Engine> engine;
    RunTime time{Boottime{}, 1.0};
    Timestamp last_fed{};
    bool is_fed = true;  ///< false once it is over and cooled down
    bool is_end_stored = false;
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
  void store_event(Timestamp at, std::string_view kind, const nlohmann::ordered_json& json);
  void write_if_due();
  void end_run_when_over(Timestamp now);
  std::string utc_of(Timestamp at) const;
  http::AlarmView alarm_view(const soak::AlarmRecord& record) const;
  http::OutletView outlet_view() const;
  std::optional<http::RunView> run_view() const;
  http::PointView point_view(PointId id) const;
  std::optional<http::WorstView> worst(const std::vector<http::PointView>& points) const;
  /// Amperes or watts flow, as far as the proof point tells; nothing when it does not.
  std::optional<bool> draws_power() const;

  const UnitSettings* settings_;
  double clock_rate_;
  store::Store& store_;
  SessionLinks links_;
  outlet::Keeper keeper_;
  std::optional<Run> run_;
  std::vector<Latest> latest_;  ///< per point, run or no run
  Boottime last_moved_{};
  bool is_relay_refusing_ = false;
};

/// Alarms are numbered within their run; the outside sees one number.
inline constexpr std::int64_t alarms_per_run = 10000;
/// After the outlet has opened for good the cooling is recorded for this long.
inline constexpr Duration cooling_recorded = std::chrono::minutes{30};

}  // namespace steadyglow::app
