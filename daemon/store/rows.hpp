#pragma once
/// The rows of the store as values.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/ids.hpp"
#include "core/reading.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::store {

/// Stands in place of a boot where a run came from a file.
inline constexpr std::string_view boot_id_imported = "imported";

/// One soak of one unit, with everything that is needed to feed its engine again.
struct RunRow {
  std::int64_t id = 0;  ///< given by the store, from 1
  std::string unit;
  std::string title;
  std::string serial;
  std::string profile_name;
  std::string profile_text;  ///< whole, as read when the run began
  std::string plan_name;
  std::string plan_text;
  std::string started_utc;               ///< RFC 3339; a label
  std::string boot_id;                   ///< which boot of the machine started_boottime_ms belongs to
  std::int64_t started_boottime_ms = 0;  ///< CLOCK_BOOTTIME
  std::string started_by;
  std::string state = "running";    ///< running | ended
  std::string ended_utc;            ///< empty while running
  std::vector<std::string> points;  ///< names in PointId order

  /// Its readings were brought in from a file: no daemon watched it.
  bool is_imported() const { return boot_id == boot_id_imported; }
};

/// A run with the first number that its rows can have.
struct RunBegins {
  std::int64_t first_seq = 0;
  RunRow run;
};

/// One input of a run's engine. Either a batch of readings (kind is input_kind_readings) or something else as JSON.
struct InputRow {
  std::int64_t seq = 0;  ///< a later input has a greater number
  Timestamp at{};
  std::string kind;
  std::vector<Reading> readings;
  std::string json;
};
inline constexpr std::string_view input_kind_readings = "readings";

/// What came out of the engine. Shares its numbering with the inputs.
struct EventRow {
  std::int64_t seq = 0;
  Timestamp at{};
  std::string kind;
  std::string json;
};
/// What is true of the bench between runs and across them: a rehearsal, a relay marked defective, a message and its
/// delivery. Shares the numbering of the inputs and events.
struct JournalRow {
  std::int64_t seq = 0;
  std::int64_t utc_ms = 0;  ///< since 1970; a label, and what ages are told by
  std::string kind;
  std::string json;
};

/// The event that the store itself writes into a run when it had no room for readings: {"batches":N,"from_s":..,"to_s":..}.
inline constexpr std::string_view event_kind_not_stored = "not_stored";
/// Of a run that was brought in from a file: {"file":..,"sha256":..,"who":..}.
inline constexpr std::string_view event_kind_imported = "imported";

/// Of the good readings of one bucket, in the point's uom.
struct Bucket {
  double min = 0.0;
  double mean = 0.0;
  double max = 0.0;
  std::uint64_t count = 0;
};

/// A stretch of run time cut into equal half-open buckets: [from, to) in all.
struct HistoryBuckets {
  Timestamp from{};
  Timestamp to{};
  std::size_t buckets = 0;
  /// One series per point asked for, in that order; each `buckets` long, empty where there was no good reading.
  std::vector<std::vector<std::optional<Bucket>>> series;

  double bucket_seconds() const { return seconds_of(to - from) / static_cast<double>(buckets); }
  double bucket_start_seconds(std::size_t index) const { return seconds_of(from) + bucket_seconds() * static_cast<double>(index); }
};

/// Rows whose checksum does not fit or that cannot be decoded. They were skipped, never used.
struct Damage {
  static constexpr std::size_t told_max = 20;
  std::uint64_t rows = 0;
  std::vector<std::string> told;  ///< the first of them, a sentence each
};

}  // namespace steadyglow::store
