#pragma once
/// What the service manager is told: one datagram a word (sd_notify(3)). Without a service manager nothing is sent.
#include <chrono>
#include <optional>
#include <string>

namespace steadyglow::app {

class Service {
 public:
  /// Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID, and takes them out of the environment of later children.
  static Service from_environment();

  /// "READY=1", "STOPPING=1", "STATUS=...", lines together in one datagram. Never waits; false when it could not be sent.
  bool say(const std::string& words) const;
  /// RELOADING=1 with the monotonic time that systemd asks for since version 253.
  void reloading() const;
  /// The watchdog wants to hear from us at least this often; nothing when there is none.
  std::optional<std::chrono::microseconds> watchdog_period() const { return watchdog_; }
  /// Call as often as you like while all is well: pings when half of the period is over.
  void alive(std::chrono::steady_clock::time_point now);

 private:
  std::string socket_;
  std::optional<std::chrono::microseconds> watchdog_;
  std::optional<std::chrono::steady_clock::time_point> pinged_at_;
};

}  // namespace steadyglow::app
