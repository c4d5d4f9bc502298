#pragma once
/// What three watchers made of many nights.
#include <array>
#include <string>
#include <vector>

#include "bench/detection/judges.hpp"
#include "bench/detection/night.hpp"

namespace steadyglow::detection {

struct Outcome {
  Truth truth;
  std::vector<std::string> point_names;
  std::array<std::vector<Cry>, judge_count> cries;
  bool is_fault() const { return truth.size != Size::none; }
};

/// Cries of weight warn and more within half an hour of the first count once: somebody gets up once.
inline constexpr double incident_seconds = 1800.0;
/// A limit of ours waits a minute to be sure (the default of a profile); three samples of a fixed limit may take less.
inline constexpr double later_allowance_seconds = 60.0;

/// How one watcher did in one night.
struct Verdict {
  std::vector<Cry> false_incidents;  ///< the first cry of each
  double watched_days = 0.0;         ///< without a fault, for the rate of false incidents
  bool is_trip_false = false;
  std::size_t notes = 0;
  std::optional<Cry> first;          ///< the first after the onset, whatever it spoke of
  std::optional<Cry> found;          ///< the first after the onset about a true point
  bool cried_before = false;         ///< it had spoken of a true point while that was healthy
};
Verdict verdict_of(const Outcome& outcome, std::size_t judge);

/// Two-sided 90 % interval of a rate from `count` events (Garwood, Biometrika 28, 1936).
struct Interval {
  double low;
  double high;
};
Interval poisson_interval(std::size_t count);

struct Tally {
  double days = 0.0;
  std::size_t false_incidents = 0, trips_on_healthy = 0, notes_on_healthy = 0;
  std::size_t large = 0, large_found = 0, small = 0, small_found = 0, meter = 0, meter_found = 0;
  std::size_t damaging = 0, found_before_damage = 0;
  std::size_t found_by_limits = 0, never_later = 0, strictly_never_later = 0;
  std::size_t told = 0, right_point = 0, right_kind = 0, found = 0, credible = 0;
  std::vector<double> leads, delays;  ///< minutes
};
Tally tally_of(const std::vector<Outcome>& outcomes, std::size_t judge);

void print_table(const std::vector<Outcome>& outcomes);
/// What to learn from: every false incident, every miss and late find, every wrong word.
void print_lists(const std::vector<Outcome>& outcomes, bool is_verbose);

}  // namespace steadyglow::detection
