#include "store/store.hpp"

#include <algorithm>
#include <ctime>

#include "core/decimal.hpp"
#include "store/batch.hpp"

namespace steadyglow::store {
namespace {

/// What a row costs in memory besides its texts.
constexpr std::size_t row_overhead_bytes = sizeof(Row) + 32;

std::chrono::milliseconds boottime_now() {
  timespec now{};
  clock_gettime(CLOCK_BOOTTIME, &now);
  return std::chrono::duration_cast<std::chrono::milliseconds>(std::chrono::seconds{now.tv_sec} + std::chrono::nanoseconds{now.tv_nsec});
}

}  // namespace

Result<std::unique_ptr<Store>> Store::open(const std::string& file, StoreOptions options) {
  auto lock = FileLock::take(file + ".lock");
  if (!lock) return tl::unexpected(lock.error());
  auto writer = Writer::open(file);
  if (!writer) return tl::unexpected(writer.error());
  return std::unique_ptr<Store>(new Store(std::move(*lock), std::move(*writer), options));
}

Store::Store(FileLock lock, Writer writer, StoreOptions options)
    : options_(options), lock_(std::move(lock)), writer_(std::move(writer)), last_seq_(writer_.numbers().seq), last_run_(writer_.numbers().run) {
  note({}, writer_.wal_bytes());
  thread_ = std::thread([this] { work(); });
}

Store::~Store() {
  {
    const std::lock_guard guard(mutex_);
    is_stopping_ = true;
    give_up_at_ = Clock::now() + options_.close_patience;
  }
  wakes_.notify_one();
  thread_.join();
  writer_.close();
}

// ---- callers ---------------------------------------------------------------------------------------------------

bool Store::has_room(std::size_t bytes, bool is_reading) const {
  return health_.queue_bytes + bytes <= options_.queue_bytes_max + (is_reading ? 0 : options_.reserve_bytes);
}

void Store::push(Row row, std::size_t bytes, bool is_urgent) {
  if (!oldest_) oldest_ = Clock::now();
  queue_.push_back({std::move(row), bytes});
  ++pushed_;
  health_.queue_bytes += bytes;
  ++health_.queue;
  is_urgent_ |= is_urgent;
}

std::int64_t Store::push_text(bool is_event, std::int64_t run, Timestamp at, std::string_view kind, std::string json) {
  const std::size_t bytes = row_overhead_bytes + kind.size() + json.size();
  if (!has_room(bytes, false)) return ++health_.dropped, 0;
  push(TextRow{is_event, ++last_seq_, run, at, std::string(kind), std::move(json)}, bytes, true);
  return last_seq_;
}

std::int64_t Store::begin_run(RunRow run) {
  std::unique_lock lock(mutex_);
  run.id = ++last_run_;
  // A run has room always: without its row nothing of it could be read.
  const std::size_t bytes = row_overhead_bytes + run.profile_text.size() + run.plan_text.size();
  push(RunBegins{last_seq_ + 1, std::move(run)}, bytes, true);
  const std::int64_t id = last_run_;
  lock.unlock();
  wakes_.notify_one();
  return id;
}

void Store::end_run(std::int64_t run, std::string ended_utc) {
  {
    const std::lock_guard guard(mutex_);
    push(RunEnds{run, last_seq_, std::move(ended_utc)}, row_overhead_bytes, true);
  }
  wakes_.notify_one();
}

std::int64_t Store::append_readings(std::int64_t run, Timestamp at, std::span<const Reading> readings) {
  std::string encoded = encode_batch(at, readings);
  const std::size_t bytes = row_overhead_bytes + encoded.size();
  std::unique_lock lock(mutex_);
  if (!has_room(bytes, true)) {
    ++health_.dropped;
    Lost& lost = lost_[run];
    if (lost.batches++ == 0) lost.from = at;
    lost.to = at;
    return 0;
  }
  tell_of_lost(run, at);
  push(BatchRow{++last_seq_, run, at, std::move(encoded)}, bytes, false);
  const std::int64_t seq = last_seq_;
  const bool is_first = queue_.size() == 1 || is_due();
  lock.unlock();
  if (is_first) wakes_.notify_one();
  return seq;
}

void Store::tell_of_lost(std::int64_t run, Timestamp at) {
  const auto lost = lost_.find(run);
  if (lost == lost_.end()) return;
  const Lost& l = lost->second;
  push_text(true, run, at, event_kind_not_stored,
            "{\"batches\":" + std::to_string(l.batches) + ",\"from_s\":" + to_decimal(seconds_of(l.from)) + ",\"to_s\":" + to_decimal(seconds_of(l.to)) + "}");
  lost_.erase(lost);
}

std::int64_t Store::append_input(std::int64_t run, Timestamp at, std::string_view kind, std::string json) {
  std::unique_lock lock(mutex_);
  const std::int64_t seq = push_text(false, run, at, kind, std::move(json));
  lock.unlock();
  wakes_.notify_one();
  return seq;
}

std::int64_t Store::append_event(std::int64_t run, Timestamp at, std::string_view kind, std::string json) {
  std::unique_lock lock(mutex_);
  const std::int64_t seq = push_text(true, run, at, kind, std::move(json));
  lock.unlock();
  wakes_.notify_one();
  return seq;
}

std::int64_t Store::append_journal(std::int64_t utc_ms, std::string_view kind, std::string json) {
  std::unique_lock lock(mutex_);
  const std::size_t bytes = row_overhead_bytes + kind.size() + json.size();
  if (!has_room(bytes, false)) return ++health_.dropped, 0;
  push(JournalRow{++last_seq_, utc_ms, std::string(kind), std::move(json)}, bytes, true);
  const std::int64_t seq = last_seq_;
  lock.unlock();
  wakes_.notify_one();
  return seq;
}

void Store::hold(bool is_held) {
  {
    const std::lock_guard guard(mutex_);
    held_ += is_held ? 1 : -1;
  }
  if (!is_held) wakes_.notify_one();
}

Result<void> Store::flush(std::chrono::milliseconds patience) {
  std::unique_lock lock(mutex_);
  const std::uint64_t wanted = pushed_;
  is_urgent_ |= done_ < wanted;
  wakes_.notify_one();
  if (committed_.wait_for(lock, patience, [&] { return done_ >= wanted; })) return {};
  return fail(Fault::io, health_.is_ok ? "the disk is slow: not all is stored yet" : health_.reason, "what is not stored is still in memory, and is tried again");
}

StoreHealth Store::health() const {
  const std::lock_guard guard(mutex_);
  return health_;
}

// ---- storage thread --------------------------------------------------------------------------------------------

bool Store::is_due() const { return is_urgent_ || is_stopping_ || queue_.size() >= rows_per_commit_max; }

void Store::take_in_hand() {
  while (!queue_.empty() && in_hand_.size() < rows_per_commit_max) {
    in_hand_bytes_ += queue_.front().bytes;
    in_hand_.push_back(std::move(queue_.front().row));
    queue_.pop_front();
  }
  // What remains stood behind something that is due.
  if (!queue_.empty()) return;
  is_urgent_ = false;
  oldest_.reset();
}

void Store::note(const Result<void>& committed, std::uint64_t wal_bytes) {
  health_.wal_bytes = wal_bytes;
  health_.is_ok = committed.has_value() && writer_.notice().empty();
  health_.reason = writer_.notice();
  if (committed) return;
  if (!health_.reason.empty()) health_.reason += "; and ";
  health_.reason += "readings cannot be written and are kept in memory: " + committed.error().text();
}

void Store::wait_before_retry(std::unique_lock<std::mutex>& lock, std::chrono::milliseconds& pause) {
  const auto until = Clock::now() + pause;
  pause = std::min(pause * 2, options_.retry_max);
  wakes_.wait_until(lock, until, [&] { return is_stopping_ || Clock::now() >= until; });
  // While stopping, the last attempts come at the shortest pause, until the patience is over.
  if (is_stopping_) wakes_.wait_for(lock, options_.retry_first, [] { return false; });
}

void Store::work() {
  std::chrono::milliseconds pause = options_.retry_first;
  std::unique_lock lock(mutex_);
  while (true) {
    if (in_hand_.empty()) {
      wakes_.wait(lock, [&] { return (!queue_.empty() && held_ == 0) || is_stopping_; });
      if (queue_.empty()) return;
      if (!is_due()) wakes_.wait_until(lock, *oldest_ + options_.commit_every, [&] { return is_due(); });
      if (held_ > 0 && !is_stopping_) continue;
      take_in_hand();
    }
    lock.unlock();
    const Result<void> committed = writer_.commit(in_hand_);
    const std::uint64_t wal_bytes = writer_.wal_bytes();
    lock.lock();
    note(committed, wal_bytes);
    if (!committed) {
      if (is_stopping_ && Clock::now() >= give_up_at_) return;
      wait_before_retry(lock, pause);
      continue;
    }
    pause = options_.retry_first;
    done_ += in_hand_.size();
    health_.rows += in_hand_.size();
    health_.queue -= in_hand_.size();
    health_.queue_bytes -= in_hand_bytes_;
    health_.last_commit = boottime_now();
    in_hand_.clear();
    in_hand_bytes_ = 0;
    committed_.notify_all();
  }
}

}  // namespace steadyglow::store
