#pragma once
/// The real disk, except that it fails when told to, and remembers what would have survived a power cut.
#include <atomic>
#include <map>
#include <mutex>
#include <string>

namespace steadyglow::store {

/// Becomes SQLite's way to the disk for the whole test program as soon as it is first asked for. With nothing set it
/// only passes on.
class FaultyDisk {
 public:
  static FaultyDisk& instance();

  /// From the n-th write, sync or truncation on (1: the next), `times` of them fail with this SQLite code.
  void fail_from(int n, int times, int code);
  void heal() { fail_from(0, 0, 0); }
  /// How many have failed since the last fail_from.
  int failed() const { return failed_; }

  /// A process that stays alive does not need the wait for the medium: with false a sync returns at once.
  void wait_for_the_medium(bool is_waited_for) { waits_ = is_waited_for; }
  bool waits_for_the_medium() const { return waits_; }

  /// Writes what was synced of `file` and its log, and nothing else, to `copy` and its log: a power cut right now.
  void cut_power(const std::string& file, const std::string& copy);

  // For the disk itself.
  int next_operation();
  void synced(const std::string& path);

 private:
  FaultyDisk();
  std::atomic<int> count_{0}, first_{0}, times_{0}, code_{0}, failed_{0};
  std::atomic<bool> waits_{true};
  std::mutex mutex_;
  std::map<std::string, std::string> survives_;  // path to bytes, under mutex_
};

}  // namespace steadyglow::store
