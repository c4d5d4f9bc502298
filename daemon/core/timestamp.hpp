#pragma once
#include <chrono>
#include <cstdint>

namespace steadyglow {

/// The clock of one run: milliseconds since the run started. It has no now(): pure rooms are told the time.
struct RunClock {
  using duration = std::chrono::milliseconds;
  using rep = duration::rep;
  using period = duration::period;
  using time_point = std::chrono::time_point<RunClock>;
  static constexpr bool is_steady = true;
};

using Duration = RunClock::duration;
/// Run time. Monotonic; UTC is only a label kept beside it.
using Timestamp = RunClock::time_point;

constexpr Timestamp at_ms(std::int64_t ms) { return Timestamp{Duration{ms}}; }
constexpr std::int64_t ms_of(Timestamp t) { return t.time_since_epoch().count(); }
constexpr double seconds_of(Duration d) { return static_cast<double>(d.count()) / 1000.0; }
constexpr double seconds_of(Timestamp t) { return seconds_of(t.time_since_epoch()); }
constexpr double minutes_of(Duration d) { return seconds_of(d) / 60.0; }
constexpr double hours_of(Duration d) { return seconds_of(d) / 3600.0; }

}  // namespace steadyglow
