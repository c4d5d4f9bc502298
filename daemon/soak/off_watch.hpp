#pragma once
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::soak {

/// Ordering "off" is not being off: only the current falling to nothing proves it.
/// Watches the proof point (mains current or watts) after an order, and for as long as the unit is to stay off.
class OffWatch {
 public:
  enum class State { none, waiting, proven, failed };
  /// A reading taken before the contact moved must not count against it.
  static constexpr int live_readings_min = 3;
  static constexpr int live_again_readings = 2;  ///< power seen again after it was proven off

  /// The order was given. `within`: how soon the current must be gone.
  void order(Timestamp at, Duration within);
  /// A good reading of the proof point: is the unit drawing nothing? Returns the state it changed to, if it changed.
  std::optional<State> step(Timestamp at, bool draws_nothing);
  State state() const { return state_; }
  Timestamp ordered_at() const { return ordered_at_; }
  void clear() { *this = OffWatch{}; }

 private:
  State state_ = State::none;
  Timestamp ordered_at_{};
  Duration within_{};
  int live_readings_ = 0;
};

}  // namespace steadyglow::soak
