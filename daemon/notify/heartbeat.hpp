#pragma once
/// A sign of life to something outside the shop: when it stays away, that something calls. It is sent only while all is well.
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <string>
#include <thread>

namespace steadyglow::notify {

struct HeartbeatSettings {
  std::string url;
  std::chrono::milliseconds every{60'000};
  /// What was said last counts for so long: a loop that stands still says nothing, and then nothing is sent.
  std::chrono::milliseconds word_lasts{10'000};
};

/// POSTs nothing to an address, every so often. Thread: loop; a worker of its own makes the calls. The destructor returns within
/// stop_max (see Sender), whatever the other side does.
class Heartbeat {
 public:
  explicit Heartbeat(HeartbeatSettings settings);
  ~Heartbeat();
  Heartbeat(const Heartbeat&) = delete;
  Heartbeat& operator=(const Heartbeat&) = delete;

  /// `trouble`: why it must stay away; empty while sampling, storage and messages are well.
  void say(std::string trouble);

  struct State {
    bool is_held = true;
    bool is_failing = false;
    std::string reason;
  };
  State state() const;

 private:
  void work();
  const HeartbeatSettings settings_;
  std::atomic<bool> is_aborted_{false};
  mutable std::mutex mutex_;
  std::condition_variable wakes_;
  std::string trouble_ = "nothing was heard yet";      // under mutex_
  std::chrono::steady_clock::time_point said_at_{};     // under mutex_
  State state_;                                         // under mutex_
  bool is_stopping_ = false;                            // under mutex_
  std::thread thread_;
};

}  // namespace steadyglow::notify
