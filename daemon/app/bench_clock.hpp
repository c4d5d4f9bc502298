#pragma once
#include <chrono>
#include <cstdint>
#include <string>

#include "core/timestamp.hpp"

namespace steadyglow::app {

/// Nanoseconds of CLOCK_BOOTTIME: monotonic, and it goes on while the machine sleeps.
using Boottime = std::chrono::nanoseconds;
Boottime boottime_now();
/// Names this boot of the machine; another one means that boottime began afresh.
std::string boot_id();

/// RFC 3339 label of a UTC time in milliseconds since 1970. Labels only: nothing is computed from them while running.
std::string utc_label(std::int64_t utc_ms);
std::int64_t utc_now_ms();
/// "02:43:28" of this machine's time zone.
std::string clock_label(std::int64_t utc_ms);
/// The other way; nothing when it is no such label.
std::int64_t utc_from_label(const std::string& label);

/// Turns boottime into the run time of one run. `rate` is 1 except in the demo.
class RunTime {
 public:
  RunTime(Boottime started_at, double rate) : started_at_(started_at), rate_(rate) {}
  Timestamp at(Boottime boottime) const {
    const double real_ms = std::chrono::duration<double, std::milli>(boottime - started_at_).count();
    return at_ms(static_cast<std::int64_t>(std::max(0.0, real_ms) * rate_));
  }

 private:
  Boottime started_at_;
  double rate_;
};

}  // namespace steadyglow::app
