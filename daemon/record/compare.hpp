#pragma once
/// Two runs of one unit side by side, or a unit against the earlier good runs of its model: brought to equal mains and room,
/// each difference with its uncertainty.
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "record/run_figures.hpp"

namespace steadyglow::record {

/// One level of a point in one run. In the uom of the comparison.
struct SideFigure {
  double as_measured = 0.0;
  double value = 0.0;          ///< at the mains of the comparison; a temperature: its rise over the room
  double meter = 0.0;          ///< standard uncertainty of the meter and the sense resistor; 0: not stated
  double wander = 0.0;         ///< standard deviation of the one-minute means, at equal mains, about a straight line
  double per_hour = 0.0;       ///< how fast that line goes
  bool is_meter_stated = false;
  std::string when;            ///< "last counted hour", "baseline", "last quarter of an hour"
  std::optional<double> mains_volts;
  std::optional<double> room_celsius;
};

/// beyond_wander: more than it wandered, but what the meters may be off by is not stated, so nobody can say more.
enum class Standing : std::uint8_t { inside, beyond, beyond_wander };
std::string_view to_word(Standing standing);

struct PointDifference {
  std::string point;           ///< its name in the profile
  std::string words;           ///< "V2 cathode"
  std::string role_words;
  std::string uom;             ///< as shown: "mA" where a sense resistor turns the millivolts into a current
  SideFigure earlier;
  SideFigure later;
  double difference = 0.0;     ///< later - earlier, at equal mains (and room)
  std::optional<double> share; ///< of the earlier value; not for what is near zero by design, nor for temperatures
  double expanded_uncertainty = 0.0;  ///< of the difference, k = 2
  Standing standing = Standing::inside;
  double mains_exponent = 0.0;
  bool is_exponent_learned = false;   ///< by a run's own night; false: the usual one of its role
  std::string conditions;      ///< "at 230.1 V", "rise over the room at 230.1 V", "as measured: ..."
  std::string sentence;
};

/// One point of both runs over time, at equal mains (a temperature: its rise). A minute without a reading is empty.
struct OverlayLine {
  std::vector<double> hours;
  std::vector<std::optional<double>> values;
};
struct Overlay {
  std::string point;
  std::string words;
  std::string uom;
  OverlayLine earlier_by_switch_on, later_by_switch_on;  ///< hours of run time since the first power
  OverlayLine earlier_by_counted, later_by_counted;      ///< counted hours; only minutes that counted
};
/// A line has no more steps than this; beyond, neighbours are averaged.
inline constexpr std::size_t overlay_steps_max = 480;

struct RunLabel {
  std::int64_t run = 0;
  std::string unit, title, serial, started_utc, verdict;
  double counted_hours = 0.0;
  std::optional<double> mains_volts;
  std::optional<double> room_celsius;
};

struct Comparison {
  RunLabel earlier;
  RunLabel later;
  std::vector<PointDifference> points;     ///< in the order of the earlier profile
  std::vector<std::string> only_earlier;   ///< words of points that the later run has no figure of
  std::vector<std::string> only_later;
  std::vector<Overlay> overlays;
  std::vector<std::string> sentences;      ///< what is beyond, then what that may mean
  std::vector<std::string> remarks;        ///< what makes the comparison weaker
};

/// Brings both to the mains of the earlier one: y (V1/V2)^k, a temperature's rise over its room likewise. Combined standard
/// uncertainty of a difference after JCGM 100:2008 (GUM) 5.1.2, of what the meters, the exponent and the room leave open and of
/// how much either wandered; errors of the two runs are taken as knowing nothing of each other, also where it was one meter.
Comparison compare(const RunFigures& earlier, const RunFigures& later);

/// A figure with as many decimals as give its uncertainty two digits.
std::string figure_words(double value, double uncertainty);

// ---- against the model ----

struct ModelPoint {
  std::string point, words, role_words, uom;
  SideFigure later;
  std::vector<double> earlier;     ///< at the mains of the unit, one of each unit, sorted
  double median = 0.0;
  double spread = 0.0;             ///< standard deviation; 0 for one
  double low = 0.0;                ///< of what good units show: the tolerance interval, or with few units the range seen
  double high = 0.0;
  bool is_tolerance_interval = false;
  double expanded_uncertainty = 0.0;  ///< of the unit's own figure, k = 2
  Standing standing = Standing::inside;
  std::string conditions;
  std::string sentence;            ///< always; says how few there are
};

struct ModelComparison {
  RunLabel later;
  std::vector<RunLabel> earlier;
  std::vector<ModelPoint> points;
  std::vector<std::string> sentences;
  std::vector<std::string> remarks;
};

/// From this many units on an interval is given that holds 95 % of such units with a confidence of 95 % (two-sided, normal);
/// with fewer it would be so wide that it says nothing (at 7, four standard deviations each way).
inline constexpr std::size_t tolerance_units_min = 8;

/// `earlier`: good runs, one for each unit; not this one.
ModelComparison compare_with_model(std::span<const RunFigures* const> earlier, const RunFigures& later);

/// Factor of a two-sided tolerance interval mean +- k s for `share` of a normal population with `confidence`: W. G. Howe,
/// J. Am. Stat. Assoc. 64 (1969) 610-620, as in the NIST/SEMATECH e-Handbook 7.2.6.3. count >= 2.
double tolerance_factor(std::size_t count, double share, double confidence);

}  // namespace steadyglow::record
