#pragma once
/// What a run was, in figures: made by telling it again from what was stored, whole or sealed, ended or still going on.
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "core/timestamp.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"
#include "record/tell_run.hpp"
#include "record/wiring.hpp"
#include "soak/event.hpp"
#include "soak/policy.hpp"
#include "soak/stages.hpp"
#include "store/rows.hpp"

namespace steadyglow::record {

/// Mean and spread of a stretch, with what the mains and the room did meanwhile. In the point's uom.
struct Level {
  Timestamp from{};
  Timestamp to{};
  std::size_t minutes = 0;      ///< with a good reading
  double mean = 0.0;            ///< of the one-minute means, as measured
  double spread = 0.0;          ///< standard deviation of the one-minute means
  std::optional<double> mains_volts;
  std::optional<double> room_celsius;
  std::optional<double> watts;  ///< that the unit drew
};

/// How fast a point moved while hours counted, allowed for mains and room; 95 % interval, allowed for autocorrelation.
struct Slope {
  double per_hour = 0.0;  ///< uom per hour
  double low = 0.0;
  double high = 0.0;
  double hours = 0.0;     ///< counted, that it was fitted over
  /// The interval does not hold zero, and the movement is more than the display of the meter.
  bool is_significant = false;
};

/// Good readings of one minute of run time.
struct MinuteFigures {
  double min = 0.0;
  double mean = 0.0;
  double max = 0.0;
  bool is_seen = false;  ///< false: no good reading, so no figures: a gap
};

/// A stretch with power and without a good reading.
struct Gap {
  Timestamp from{};
  Timestamp to{};
  std::string why;  ///< in words: "no answer", "contact lost"
};

/// How a heat-bearing point stands over the room.
struct Thermal {
  std::optional<double> rise_kelvin;           ///< over the room, last counted hour
  std::optional<double> kelvin_per_watt;       ///< rise / watts that the whole unit drew
  std::optional<double> start_kelvin_per_watt; ///< the same while the first baseline was taken
  std::optional<double> tau_minutes;           ///< slowest time constant of the first warm-up
  std::optional<double> tau_least, tau_most;   ///< what the data still allow at 95 %; no most: any slowness
};

struct PointFigures {
  PointId id{};
  profile::Point point;          ///< as the profile has it: role, uom, limits and their source
  std::string words;             ///< its name for a person: "V1 cathode"
  std::string role_words;        ///< "idle current"
  std::optional<Level> start;    ///< its first baseline after the last touch of it
  std::optional<Level> first_start;  ///< only when something was touched after it: the very first baseline
  std::optional<Level> end;      ///< last hour that counted
  std::optional<Level> last_seen;  ///< last quarter of an hour with power, counted or not
  std::optional<Slope> slope;
  /// U, k = 2, in uom, at the end figure (or the start): accuracy of the meter, and of the sense resistor where stated.
  std::optional<double> expanded_uncertainty;
  std::string uncertainty_from;  ///< what it was made of, or why it is not stated
  double mains_exponent = 0.0;   ///< it moves with (V / V nominal)^this, as this run showed or its role lets expect; see compare
  double mains_exponent_sd = 0.0;
  Duration counted{};            ///< since a screwdriver moved it
  double share_seen = 0.0;       ///< of the minutes with power
  double share_seen_counted = 0.0;  ///< of the minutes that counted
  std::vector<Gap> gaps;
  std::optional<Thermal> thermal;
  std::vector<MinuteFigures> minutes;  ///< index: minute of run time; as measured, not smoothed away
  std::optional<std::size_t> meter;    ///< into RunFigures::wiring.meters
};

/// A trimmer was turned or a part was replaced.
struct Touch {
  Timestamp at{};
  Duration counted{};        ///< counted hours of the run then
  bool is_part = false;
  std::string who, why, control;
  std::vector<PointId> points;
  std::optional<double> before, after;  ///< in the first point's uom
};

/// A stretch between touches and losses of supply.
struct Segment {
  int number = 0;
  Timestamp from{};
  std::vector<PointId> points;  ///< empty: all
  std::string who, why;
};

struct StageFigures {
  profile::Stage stage;
  std::optional<Timestamp> from;
  std::optional<Timestamp> to;
  Duration counted{};
};

/// What a unit drew and how its points came up in the first minutes after one switch-on.
struct StartTrace {
  struct Line {
    PointId id{};
    std::vector<float> seconds;  ///< from the order to close
    std::vector<float> values;
  };
  Timestamp at{};
  Duration off_for{};            ///< before it; zero for the first start of the run, of which nothing is known
  bool is_first = false;
  std::vector<Line> lines;       ///< the draw first, then what follows from it
};

/// What was told or done, in order of time.
struct Happening {
  enum class Kind : std::uint8_t { finding, deed, order, start };
  Timestamp at{};
  Kind kind = Kind::finding;
  soak::Severity severity = soak::Severity::note;
  std::string who;               ///< empty: the program
  std::string text;
};

struct RunFigures {
  store::RunRow run;             ///< id, unit, title, serial, profile and plan names and texts, labels
  profile::Profile profile;
  profile::Plan plan;
  soak::Policy policy;
  Wiring wiring;                 ///< meters of the run; empty when it was recorded without

  Duration length{};             ///< from the start to the last input
  Duration powered{};
  Duration counted{};
  Duration planned{};
  bool is_over = false;
  bool is_tripped = false;
  std::optional<Timestamp> ended_at;  ///< the verdict
  std::vector<soak::Interruption> interruptions;
  std::vector<Segment> segments;
  std::vector<Touch> touches;
  std::vector<StageFigures> stages;
  std::vector<StartTrace> starts;     ///< first and last
  std::vector<soak::StartUp> start_ups;  ///< each that was compared with the first
  std::vector<soak::AlarmRecord> alarms;
  std::vector<Happening> happenings;  ///< at most happenings_max, the newest left out beyond
  std::uint64_t happenings_left_out = 0;
  std::vector<PointFigures> points;   ///< in the order of the profile
  std::vector<bool> minute_counts;    ///< per minute of run time: did it count?
  std::vector<bool> minute_has_power;
  std::optional<soak::Verdict> verdict;      ///< as proposed
  std::optional<soak::Signature> signature;
  std::string decision_rule;          ///< in one sentence
  std::vector<std::string> not_measured;     ///< sentences: what a reader might think was seen, and was not
  std::vector<std::string> doubts;    ///< readings that were lost, inputs that could not be read

  const PointFigures* find(std::string_view name) const;
  /// Label of a moment of the run, RFC 3339 in UTC, to the second.
  std::string utc(Timestamp at) const;
};

inline constexpr std::size_t happenings_max = 500;
/// A start is drawn for this long.
inline constexpr Duration start_trace_length = std::chrono::minutes{5};

/// Thread: any. Tells the run again: about a second for 48 h of 16 points each second.
/// `events`: those of the run, for what is no output of the engine (the meters, lost readings). Fails with bad_data when the
/// profile or plan of the run cannot be read, and as `inputs` does.
Result<RunFigures> figures_of(const store::RunRow& run, const Inputs& inputs, std::span<const store::EventRow> events);

}  // namespace steadyglow::record
