#pragma once
/// Feeds a recording to the engine, as if it were happening.
#include <functional>
#include <memory>
#include <optional>
#include <istream>
#include <string>
#include <vector>

#include "core/reading.hpp"
#include "core/result.hpp"
#include "soak/engine.hpp"

namespace steadyglow::app {

/// A recording's columns: the time first, then points of the profile.
struct RecordingHeader {
  bool is_utc = false;  ///< first column `time` (RFC 3339) instead of `time_s`
  std::vector<std::optional<PointId>> columns;
};

/// Reads a recording row by row. Every mistake has file:line and a hint.
class RecordingReader {
 public:
  RecordingReader(std::istream& in, std::string file, const profile::Profile& profile);
  /// Checks the header; call once, first. Points of the profile without a column come back in `missing`.
  Result<void> read_header(std::vector<std::string>& missing);
  /// The readings of the next row, in order of the columns; empty optional at the end.
  Result<bool> next(Timestamp& at, std::vector<Reading>& readings);
  /// file:line of the last row.
  std::string where() const;
  /// Its first column is `time`: it says itself when it began.
  bool has_dates() const;
  /// Seconds since 1970 of the first row, once that was read and if it has a date.
  std::optional<double> began_utc_seconds() const;

 private:
  Result<Timestamp> parse_time(const std::string& cell);
  struct Impl;
  std::shared_ptr<Impl> impl_;
};

struct ReplaySummary {
  std::uint64_t rows = 0;
  std::uint64_t readings = 0;
  std::uint64_t bad_readings = 0;
  std::uint64_t out_of_order = 0;  ///< rows that were older than the one before; taken as they came
  Duration length{};
};

/// Runs the whole recording; every event goes to `hear`.
Result<ReplaySummary> replay(RecordingReader& recording, soak::Engine& engine, const std::function<void(const soak::Event&)>& hear);

/// Seconds since 1970 of an RFC 3339 time, or nothing.
std::optional<double> parse_rfc3339(std::string_view text);

}  // namespace steadyglow::app
