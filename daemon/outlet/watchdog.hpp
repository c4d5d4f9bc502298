#pragma once
/// Feeds the hardware watchdog of a bench, and only while the work is truly going on.
///
/// The watchdog is a coil of the relay module that must be written again and again; when the writing stops, the module
/// opens every contact by itself. A program that hangs but whose timer still runs must not keep it fed: so every part
/// that guards a powered unit reports its own progress, and one that stays quiet for too long stops the feeding.
#include <chrono>
#include <map>
#include <optional>
#include <string>

namespace steadyglow::outlet {

using Instant = std::chrono::steady_clock::time_point;

struct WatchdogTiming {
  std::chrono::milliseconds every{2000};   ///< between two writes
  std::chrono::milliseconds drops_after{10000};  ///< the device opens its contacts so long after the last write
  std::chrono::milliseconds stuck_after{5000};   ///< a part that made no progress for so long is stuck
};

class Watchdog {
 public:
  explicit Watchdog(WatchdogTiming timing) : timing_(timing) {}

  /// This part must make progress from now on, at least once in `allowed` (a bus of slow meters is quiet for longer), and
  /// never is less than stuck_after demanded.
  void expect(const std::string& part, Instant now, std::chrono::milliseconds allowed = {});
  /// It need not any more: its unit is off.
  void excuse(const std::string& part) { parts_.erase(part); }
  /// It has done a turn of its work: a bus polled, an engine judged.
  void progress(const std::string& part, Instant now);

  /// Write the coil now? At most once per `every`, and never while a part is stuck or a write is still on its way.
  bool next_write(Instant now);
  void answered(bool is_accepted, Instant now);

  /// Names the part that stopped, while one has; the device will open everything if it stays so.
  std::optional<std::string> held_because(Instant now) const;
  /// In words, what keeps it from being fed, long before the device opens its contacts; nothing while all is well.
  std::optional<std::string> unfed_because(Instant now) const;
  /// The device has not been fed for so long that it must have opened its contacts. Not before the first feeding.
  bool has_dropped(Instant now) const { return fed_at_ && now - *fed_at_ > timing_.drops_after; }
  const WatchdogTiming& timing() const { return timing_; }

 private:
  struct Part {
    Instant moved_at;
    std::chrono::milliseconds allowed;
  };
  WatchdogTiming timing_;
  std::map<std::string, Part> parts_;
  std::optional<Instant> fed_at_;
  std::optional<Instant> tried_at_;
  bool is_writing_ = false;
};

}  // namespace steadyglow::outlet
