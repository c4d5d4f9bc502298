#pragma once
/// The bench as Prometheus sees it: text format 0.0.4, base units, one unit of measure per name.
/// A bad or old reading has no series: the last value is never repeated, and NaN never stands for "missing".
/// Names after Prometheus, "Metric and label naming" and (process_*) "Writing client libraries".
#include <cstdint>
#include <optional>
#include <string>

#include "http/server.hpp"
#include "http/view.hpp"

namespace steadyglow::http {

inline constexpr const char* metrics_type = "text/plain; version=0.0.4; charset=utf-8";

/// A reading older than this, in run time, is not shown. Prometheus itself looks back as far by default
/// (query.lookback-delta, 5 min).
inline constexpr double reading_age_max_s = 300.0;

/// What the kernel says of this process (proc(5)); empty where it says nothing.
struct ProcessFigures {
  std::optional<double> cpu_seconds;
  std::optional<double> start_time_seconds;  ///< UTC
  std::optional<double> resident_bytes;
  std::optional<double> virtual_bytes;
  std::optional<double> open_fds;
  std::optional<double> max_fds;
  std::optional<double> threads;
};

/// Reads /proc/self, which is memory and not a disk. Never fails: what cannot be read is empty.
ProcessFigures read_process_figures();

std::string metrics_text(const BenchView& bench, const ProcessFigures& process, const ServerFigures& server);

}  // namespace steadyglow::http
