#include "soak/off_watch.hpp"

namespace steadyglow::soak {

void OffWatch::order(Timestamp at, Duration within) {
  if (state_ == State::none) state_ = State::waiting;
  ordered_at_ = at;
  within_ = within;
  live_readings_ = 0;
}

std::optional<OffWatch::State> OffWatch::step(Timestamp at, bool draws_nothing) {
  if (state_ == State::none) return std::nullopt;
  if (draws_nothing) {
    live_readings_ = 0;
    if (state_ == State::proven) return std::nullopt;
    state_ = State::proven;
    return state_;
  }
  ++live_readings_;
  const bool is_late = state_ == State::waiting && at - ordered_at_ >= within_ && live_readings_ >= live_readings_min;
  const bool is_live_again = state_ == State::proven && live_readings_ >= live_again_readings;
  if (!is_late && !is_live_again) return std::nullopt;
  state_ = State::failed;
  return state_;
}

}  // namespace steadyglow::soak
