#include "analysis/limit.hpp"

namespace steadyglow::analysis {

std::optional<bool> LimitWatch::step(Timestamp at, double value) {
  if (last_ && at - *last_ > pending_gap_max) {
    beyond_since_.reset();
    within_since_.reset();
  }
  last_ = at;
  const double excess = policy_.is_high ? value - policy_.limit : policy_.limit - value;
  if (excess > 0.0) {
    if (!beyond_since_) beyond_since_ = at;
  } else {
    beyond_since_.reset();
  }
  if (excess < -policy_.deadband) {
    if (!within_since_) within_since_ = at;
  } else {
    within_since_.reset();
  }
  if (!is_active_ && beyond_since_ && at - *beyond_since_ >= policy_.on_delay) {
    is_active_ = true;
    return true;
  }
  if (is_active_ && within_since_ && at - *within_since_ >= policy_.off_delay) {
    is_active_ = false;
    return false;
  }
  return std::nullopt;
}

void LimitWatch::clear() {
  beyond_since_.reset();
  within_since_.reset();
  last_.reset();
  is_active_ = false;
}

}  // namespace steadyglow::analysis
