#pragma once
/// What was stored, read beside the daemon that writes it.
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/reading.hpp"
#include "core/result.hpp"
#include "store/rows.hpp"
#include "store/sqlite.hpp"

namespace steadyglow::store {

/// Thread: one at a time. Owns: a read-only connection that never checkpoints. Reads in short slices, so that the writer's
/// checkpoint is never stopped for long; callbacks run between slices and may take their time. Every call sees at least
/// what was on the disk when it began. Fails: Fault::bad_data for a damaged file, config for a file that is no store or
/// of another layout, io otherwise. Damaged rows are left out and counted by damage().
class StoreReader {
 public:
  static Result<std::unique_ptr<StoreReader>> open(const std::string& file);

  /// Oldest first.
  Result<std::vector<RunRow>> runs();
  Result<std::optional<RunRow>> run(std::int64_t id);
  /// Batches of readings and other inputs, in the order in which they were fed.
  Result<void> for_each_input(std::int64_t run, const std::function<void(const InputRow&)>& visit);
  /// In the order in which they came.
  Result<std::vector<EventRow>> events(std::int64_t run);
  /// The bench's journal after this number, in the order in which it was written.
  Result<std::vector<JournalRow>> journal(std::int64_t after_seq = 0);
  /// Minimum, mean and maximum of the good readings in [from, to), cut into equal buckets. Bad readings and gaps leave
  /// empty buckets. Fails with Fault::usage unless from < to and 1 <= buckets <= history_buckets_max.
  Result<HistoryBuckets> history(std::int64_t run, std::span<const PointId> points, Timestamp from, Timestamp to, std::size_t buckets);
  /// Time of the newest batch of readings.
  Result<std::optional<Timestamp>> last_readings_at(std::int64_t run);

  /// All that this reader has met so far; a row met twice counts twice.
  const Damage& damage() const { return damage_; }

  static constexpr std::size_t history_buckets_max = 10'000;
  static constexpr std::size_t rows_per_slice = 1000;

 private:
  /// What is still to be read of a run: its rows lie in [first_seq, last_seq].
  struct Stretch {
    std::int64_t first_seq = 0;
    std::int64_t last_seq = 0;
    std::int64_t leap = 0;  ///< how far the next attempt goes past a page that cannot be read
    bool is_done() const { return first_seq > last_seq; }
  };
  struct Batch {
    std::int64_t seq = 0;
    Timestamp at{};
    std::vector<Reading> readings;
  };

  explicit StoreReader(Connection connection) : connection_(std::move(connection)) {}
  Result<Stretch> stretch(std::int64_t run);
  Result<void> read_slice(const std::string& table, const std::string& columns, std::int64_t run, Stretch& rest, const std::function<void(Statement&)>& take);
  Result<std::vector<Batch>> batches(std::int64_t run, Stretch& rest);
  Result<std::vector<EventRow>> texts(const std::string& table, std::int64_t run, Stretch rest);
  Result<std::int64_t> first_at_or_after(std::int64_t run, Stretch stretch, Timestamp at);

  Connection connection_;
  Damage damage_;
};

}  // namespace steadyglow::store
