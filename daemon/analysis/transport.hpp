#pragma once
/// Decks and turntables stand still now and then: at the end of a side, between starts. What follows from that is no fault.
#include <algorithm>
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

class Transport {
 public:
  static constexpr double running_share = 0.6;                         ///< of its level: below, it stands or spins up
  static constexpr Duration spin_up = std::chrono::seconds{90};
  static constexpr Duration stop_least = std::chrono::minutes{30};     ///< a stop of this length needs no excuse
  static constexpr int stop_times = 2;                                 ///< nor does one of so many times the longest before

  /// Decks whose tone is silent in stop have no speed then: no reading, or what the watts say, is a stop as well.
  void step(Timestamp at, bool is_running) {
    if (is_running == is_running_ && has_begun_) return;
    if (has_begun_ && is_running) longest_stop_ = std::max(longest_stop_, at - since_);
    is_running_ = is_running;
    has_begun_ = true;
    since_ = at;
  }
  /// Up to speed for long enough that its figures tell of it.
  bool is_steady(Timestamp now) const { return !has_begun_ || (is_running_ && now - since_ >= spin_up); }
  bool is_stopped() const { return has_begun_ && !is_running_; }
  /// Standing for no longer than it may.
  bool is_usual_stop(Timestamp now) const { return is_stopped() && now - since_ < std::max(stop_least, stop_times * longest_stop_); }

 private:
  bool has_begun_ = false;
  bool is_running_ = false;
  Timestamp since_{};
  Duration longest_stop_{};
};

}  // namespace steadyglow::analysis
