#pragma once
/// The write-ahead of the engine: what was fed to it, in exactly that order, and beside it what came out.
#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "core/reading.hpp"
#include "core/result.hpp"
#include "store/file_lock.hpp"
#include "store/rows.hpp"
#include "store/writer.hpp"

namespace steadyglow::store {

struct StoreOptions {
  /// Readings reach the disk within this time; everything else at once, and whatever stands before it in the queue too.
  std::chrono::milliseconds commit_every{1000};
  /// What may wait in memory while the disk is slow or failing; beyond, readings are dropped and counted.
  std::size_t queue_bytes_max = 64 * 1024 * 1024;
  /// On top of that for what a person did and what the engine said.
  std::size_t reserve_bytes = 8 * 1024 * 1024;
  /// Pauses between attempts while writing fails; each is twice the last.
  std::chrono::milliseconds retry_first{100};
  std::chrono::milliseconds retry_max{5000};
  /// How long the destructor tries to get what waits onto the disk.
  std::chrono::milliseconds close_patience{5000};
};

struct StoreHealth {
  bool is_ok = true;   ///< false: writing fails, or the file was set aside or replaced since this program began
  std::string reason;  ///< a sentence; empty while ok
  std::uint64_t queue = 0;        ///< rows that are not on the disk yet
  std::uint64_t queue_bytes = 0;
  std::uint64_t dropped = 0;      ///< rows that found no room, since the start
  std::uint64_t wal_bytes = 0;    ///< size of the log that is not written back into the file yet
  std::uint64_t rows = 0;         ///< committed since the start
  std::optional<std::chrono::milliseconds> last_commit;  ///< CLOCK_BOOTTIME
};

/// Thread: any. Calls never wait for the disk, flush() and the destructor excepted. Owns: the storage thread, the only
/// writing connection, and a lock on FILE.lock. A failing disk is told by health(); nobody else hears of it.
class Store {
 public:
  /// Fails: Fault::unavailable if another process has the store open; config for a newer layout or a file that is no
  /// store; cannot_create, permission or io if the file cannot be used at all.
  static Result<std::unique_ptr<Store>> open(const std::string& file, StoreOptions options = {});
  /// Commits what waits, for at most close_patience, then closes.
  ~Store();
  Store(const Store&) = delete;
  Store& operator=(const Store&) = delete;

  /// Gives the run its number at once. `id`, `state` and `ended_utc` of the row are ignored.
  std::int64_t begin_run(RunRow run);
  /// No readings of this run may follow; an input or event may (somebody acknowledges in the morning).
  void end_run(std::int64_t run, std::string ended_utc);

  // In the order of these calls the engine will be fed again. `at` never decreases within a run. Each returns the
  // number of its row, or 0 if there was no room for it.

  std::int64_t append_readings(std::int64_t run, Timestamp at, std::span<const Reading> readings);
  std::int64_t append_input(std::int64_t run, Timestamp at, std::string_view kind, std::string json);
  std::int64_t append_event(std::int64_t run, Timestamp at, std::string_view kind, std::string json);

  /// Of the bench, not of a run. Returns its number, or 0 if there was no room for it.
  std::int64_t append_journal(std::int64_t utc_ms, std::string_view kind, std::string json);

  /// While one of these lives, what is appended is not begun to be written: it all goes into one transaction, so that an
  /// alarm never stands without the message that tells of it. Hold it for the length of one handler of the loop.
  class Together {
   public:
    explicit Together(Store& store) : store_(store) { store_.hold(true); }
    ~Together() { store_.hold(false); }
    Together(const Together&) = delete;
    Together& operator=(const Together&) = delete;

   private:
    Store& store_;
  };

  /// Waits until all that was appended before is on the disk. Fails with the reason if that takes longer than `patience`.
  Result<void> flush(std::chrono::milliseconds patience = flush_patience);
  StoreHealth health() const;

  static constexpr std::chrono::milliseconds flush_patience{5000};
  /// More rows than this are not put into one transaction.
  static constexpr std::size_t rows_per_commit_max = 5000;

 private:
  using Clock = std::chrono::steady_clock;
  struct Lost {
    std::uint64_t batches = 0;
    Timestamp from{};
    Timestamp to{};
  };

  Store(FileLock lock, Writer writer, StoreOptions options);
  void hold(bool is_held);
  // The following with mutex_ held.
  bool has_room(std::size_t bytes, bool is_reading) const;
  std::int64_t push_text(bool is_event, std::int64_t run, Timestamp at, std::string_view kind, std::string json);
  void push(Row row, std::size_t bytes, bool is_urgent);
  void tell_of_lost(std::int64_t run, Timestamp at);
  bool is_due() const;
  // Storage thread only.
  void work();
  void take_in_hand();
  void wait_before_retry(std::unique_lock<std::mutex>& lock, std::chrono::milliseconds& pause);
  void note(const Result<void>& committed, std::uint64_t wal_bytes);

  struct Waiting {
    Row row;
    std::size_t bytes;
  };

  const StoreOptions options_;
  FileLock lock_;
  Writer writer_;             // storage thread only
  std::vector<Row> in_hand_;  // storage thread only

  mutable std::mutex mutex_;  // held for memory work only, never during a write
  std::condition_variable wakes_;
  std::condition_variable committed_;
  std::deque<Waiting> queue_;                      // under mutex_
  std::size_t in_hand_bytes_ = 0;                  // under mutex_
  std::optional<Clock::time_point> oldest_;        // under mutex_: since when the queue's first row waits
  std::int64_t last_seq_ = 0;                      // under mutex_
  std::int64_t last_run_ = 0;                      // under mutex_
  std::uint64_t pushed_ = 0;                       // under mutex_: rows, ever
  std::uint64_t done_ = 0;                         // under mutex_: rows on the disk, ever
  int held_ = 0;                                   // under mutex_: Together objects alive
  bool is_urgent_ = false;                         // under mutex_
  bool is_stopping_ = false;                       // under mutex_
  Clock::time_point give_up_at_{};                 // under mutex_, once stopping
  std::map<std::int64_t, Lost> lost_;              // under mutex_: by run, not yet told in its events
  StoreHealth health_;                             // under mutex_
  std::thread thread_;
};

}  // namespace steadyglow::store
