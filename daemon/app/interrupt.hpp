#pragma once
/// Ctrl-C and SIGTERM as a flag, for a command that asks devices: it ends after the question that it waits for.
#include <signal.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <thread>

namespace steadyglow::app {

inline std::atomic<bool> is_interrupted{false};
static_assert(std::atomic<bool>::is_always_lock_free, "a signal handler sets it");

inline void watch_for_interrupts() {
  struct sigaction action {};
  action.sa_handler = [](int) { is_interrupted = true; };
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

/// Sleeps so long, or until an interrupt.
inline void pause_for(std::chrono::duration<double> time) {
  using Clock = std::chrono::steady_clock;
  constexpr std::chrono::milliseconds noticed_within{50};
  const auto end = Clock::now() + std::chrono::duration_cast<Clock::duration>(time);
  while (!is_interrupted && Clock::now() < end) std::this_thread::sleep_for(std::min<Clock::duration>(noticed_within, end - Clock::now()));
}

}  // namespace steadyglow::app
