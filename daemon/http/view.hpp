#pragma once
/// What the outside sees of the bench, as plain values: field for field the objects of API.md.
/// An empty optional is `null` there: "there is none", never zero.
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace steadyglow::http {

struct MeterView {
  std::string name;
  std::string state = "ok";  ///< ok | silent
};

/// Counts since the daemon started.
struct BusView {
  std::string name;
  std::string where;         ///< address or device, for people
  std::string state = "ok";  ///< ok | silent
  std::uint64_t requests = 0;
  std::uint64_t timeouts = 0;
  std::uint64_t refusals = 0;
  std::uint64_t garbage = 0;
  std::uint64_t reconnects = 0;
  std::uint64_t overruns = 0;         ///< polls that a busy bus let go by
  std::uint64_t dropped_batches = 0;  ///< polls that the program was too slow to take
  std::vector<MeterView> meters;
};

struct StoreView {
  std::string state = "ok";  ///< ok | failing
  std::string reason;
  std::uint64_t queue = 0;  ///< inputs that wait to be written
  std::uint64_t wal_bytes = 0;
};

struct StageView {
  std::string kind;
  double planned_s = 0.0;
  std::string state = "ahead";  ///< done | now | ahead
};

struct VerdictView {
  std::string word;  ///< pass | pass_with_remarks | incomplete | fail
  bool is_proposed = true;  ///< nobody has signed yet
  std::vector<std::string> reasons;
};

/// What a person made of the run.
struct SignatureView {
  std::string who;
  std::string word;
  std::string why;
  double time_s = 0.0;
};

struct InterruptionView {
  double from_s = 0.0;
  std::optional<double> to_s;  ///< empty: still going on
  std::string why;
  bool is_planned = false;
};

struct SegmentView {
  int number = 0;
  double from_s = 0.0;
  std::vector<std::string> points;  ///< empty: all of the unit's
  std::string why;
};

/// What a person decided for the run before they left it.
struct PolicyView {
  std::string set_by;
  std::optional<double> person_back_s;  ///< run time
  std::string after_mains;              ///< stay_off | staged
  std::string on_forecast;              ///< tell | cut
  bool is_cut_when_stuck = false;
  bool wakes_for_forecast = false;
};

/// Seconds of run time.
struct RunView {
  std::int64_t id = 0;
  std::string state = "running";  ///< running | ended
  std::string stage;              ///< kind of the stage that is going on, or "done"
  double time_s = 0.0;
  std::string started_utc;
  double counted_s = 0.0;
  double planned_s = 0.0;
  std::string not_counting_because;  ///< empty while the time counts
  std::vector<StageView> stages;
  std::optional<VerdictView> verdict;
  std::optional<SignatureView> signature;
  std::string power;  ///< on | off_by_plan | off_by_person | tripped | paused | lost | bench_open
  bool is_unattended = false;
  PolicyView policy;
  std::vector<InterruptionView> interruptions;
  std::vector<SegmentView> segments;
};

struct OutletView {
  std::string state = "unknown";  ///< on | off | unknown
  std::string proof = "none";     ///< none | waiting | proven | failed
  std::string proof_text;
  bool is_interlocked = false;
  bool is_defective = false;
  std::string bleed_text;  ///< "B+ 31 V" while it falls; empty when there is nothing to say
  std::string reason;
};

/// The good reading that stands nearest to, or beyond, a limit. Value and limit in the point's uom.
struct WorstView {
  std::string point;
  double share = 0.0;  ///< how much of the way from nominal to the limit it has gone; 1.0: at the limit
  double limit = 0.0;
  std::string side;      ///< low | high
  std::string severity;  ///< warn | trip
  double value = 0.0;
};

/// Values, limits and slopes in `uom` (a UCUM symbol); slopes per hour of run time.
struct PointView {
  std::string name;
  std::string quantity;
  std::string uom;
  std::string shown_uom;
  std::string role;
  std::optional<double> value;  ///< of a good reading only
  std::string quality = "no_answer";
  std::optional<double> time_s;  ///< when the reading was taken; empty outside a run
  std::optional<double> age_s;   ///< empty: nothing was ever read
  std::optional<double> nominal;
  std::optional<double> warn_low;
  std::optional<double> warn_high;
  std::optional<double> trip_low;
  std::optional<double> trip_high;
  std::optional<double> baseline;
  std::optional<double> change_from_baseline_percent;
  std::string settling;          ///< "settled", "settled in about 25 min (20 to 40)"...; empty where nothing settles
  std::optional<double> slope_per_hour;
  std::optional<double> slope_low;  ///< ends of the slope's confidence interval
  std::optional<double> slope_high;
};

struct UnitView {
  std::string name;
  std::string title;
  std::string serial;
  std::string bench;
  std::string kind;
  std::string plan;
  std::optional<RunView> run;
  OutletView outlet;
  std::optional<WorstView> worst;
  std::vector<PointView> points;
};

struct AlarmView {
  std::int64_t id = 0;
  std::string unit;
  std::vector<std::string> points;
  std::string kind;
  std::string severity;  ///< note | warn | trip
  std::string state;     ///< of IEC 62682, as API.md lists them
  bool is_active = false;
  double raised_s = 0.0;
  std::string raised_utc;
  std::optional<double> cleared_s;
  std::string acknowledged_by;
  std::string message;
  std::string priority;  ///< low | medium | high | highest
  std::string cause;     ///< unit | bus | mains | bench
  std::optional<double> shelved_until_s;
  std::string changed_by;
  std::string why;
};

struct ContactorView {
  std::string state = "none";  ///< closed | open | unknown | none
  bool is_defective = false;
  std::string reason;
};

struct WatchdogView {
  std::string state = "none";  ///< fed | held | none
  std::string reason;
};

struct RehearsalView {
  std::string state = "none";  ///< none | running | passed | failed
  std::string unit;
  std::string utc;
  std::string who;
  std::string text;
};

/// One bench: what feeds its units.
struct SupplyView {
  std::string name;
  ContactorView contactor;
  WatchdogView watchdog;
  RehearsalView rehearsal;
  std::optional<double> mains_volts;
  std::string smoke = "none";  ///< quiet | smoke | unreadable | none
  double amperes = 0.0;
  std::optional<double> allowed_amperes;
  std::string person_on_call;
};

struct ToldView {
  std::string route;
  std::string person;
  std::string purpose;
  std::string utc;
  std::string state;  ///< waiting | delivered | failing
};

/// Alarms of one cause, as people are told of them.
struct IncidentView {
  std::int64_t id = 0;
  std::string cause;
  std::string cause_name;
  std::string priority;
  bool is_standing = false;
  bool is_acknowledged = false;
  std::string acknowledged_by;
  std::string opened_utc;
  std::string title;
  std::string text;
  std::vector<std::string> units;
  std::vector<std::int64_t> alarms;
  std::vector<ToldView> told;
};

struct RouteView {
  std::string name;
  std::string kind;
  std::string where;
  std::string state = "untested";  ///< ok | failing | untested
  std::string reason;
  std::uint64_t waiting = 0;
  std::string last_delivered_utc;
};

struct NotifyView {
  std::vector<RouteView> routes;
  std::string heartbeat = "none";  ///< sent | held | failing | none
  std::string heartbeat_reason;
};

/// How well the alarm system itself behaves: the figures of ANSI/ISA-18.2-2016, 16.4.
struct AlarmFiguresView {
  double hours = 0.0;  ///< of observation
  double per_hour = 0.0;
  double per_10_min = 0.0;
  std::uint64_t most_in_10_min = 0;
  double flood_share = 0.0;
  bool is_flood = false;
  std::uint64_t standing_over_24_h = 0;
  std::vector<std::string> chattering;
  std::uint64_t low = 0, medium = 0, high = 0, highest = 0;
  std::uint64_t shelved = 0;
};

struct BenchView {
  std::string version;
  std::string utc;
  double clock_rate = 1.0;  ///< run time over real time; other than 1 in the demo only
  bool is_accelerated = false;
  StoreView store;
  std::vector<BusView> buses;
  std::vector<UnitView> units;
  std::vector<AlarmView> alarms;
  std::vector<SupplyView> benches;
  std::vector<IncidentView> incidents;
  AlarmFiguresView alarm_figures;
  NotifyView notify;
};

}  // namespace steadyglow::http
