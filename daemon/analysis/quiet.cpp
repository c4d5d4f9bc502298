#include "analysis/quiet.hpp"

#include <algorithm>
#include <cmath>

#include "analysis/minute.hpp"

namespace steadyglow::analysis {
namespace {

/// The low level is what one minute in twelve came down to: pauses are rare, and one of them may be a slip.
constexpr double low_share = 0.08;
/// From so many samples in a minute, the lowest may be a slip.
constexpr int samples_for_second = 4;

}  // namespace

void Quiet::step(Timestamp at, double activity) {
  const double value = std::fabs(activity);
  if (const std::int64_t minute = minute_of(at); minute != minute_) {
    close_minute();
    minute_ = minute;
  }
  if (count_ == 0 || value < lowest_) {
    second_ = count_ == 0 ? value : lowest_;
    lowest_ = value;
  } else if (count_ == 1 || value < second_) {
    second_ = value;
  }
  ++count_;
  newest_ = value;
  was_near_ = is_near_;
  is_near_ = level_ && value <= *level_ * (1.0 + near_share);
}

void Quiet::close_minute() {
  if (count_ == 0) return;
  lows_[next_] = count_ >= samples_for_second ? second_ : lowest_;
  next_ = (next_ + 1) % minutes_kept;
  filled_ = std::min(filled_ + 1, minutes_kept);
  count_ = 0;
  std::array<double, minutes_kept> work = lows_;
  const auto at = work.begin() + static_cast<std::ptrdiff_t>(low_share * static_cast<double>(filled_));
  std::nth_element(work.begin(), at, work.begin() + static_cast<std::ptrdiff_t>(filled_));
  level_ = *at;
}

}  // namespace steadyglow::analysis
