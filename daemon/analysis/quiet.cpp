#include "analysis/quiet.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/minute.hpp"

namespace steadyglow::analysis {
namespace {

/// From so many samples in a minute, the lowest may be a slip.
constexpr int samples_for_second = 4;
/// The floor has risen when it has not been visited for so many times the longest absence before, and at least this long.
constexpr int above_times = 3;
constexpr double fall_share = 0.07;
constexpr int above_minutes_least = 120;

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
  is_near_ = is_within(near_share);
}

void Quiet::close_minute() {
  if (count_ == 0) return;
  const double low = count_ >= samples_for_second ? second_ : lowest_;
  count_ = 0;
  if (floor_ && low <= *floor_ * (1.0 + near_share)) {
    longest_above_ = std::max(longest_above_, minutes_above_);
    minutes_above_ = 0;
  } else if (floor_ && ++minutes_above_ > std::max(above_minutes_least, above_times * longest_above_)) {
    // It does not come back to the old floor any more: the floor itself has risen. What came since tells where to.
    const std::size_t keep = std::min<std::size_t>(filled_, static_cast<std::size_t>(minutes_above_));
    std::array<double, minutes_kept> since{};
    for (std::size_t i = 0; i < keep; ++i) since[i] = lows_[(next_ + minutes_kept - keep + i) % minutes_kept];
    lows_ = since;
    filled_ = keep;
    next_ = keep % minutes_kept;
    minutes_above_ = 0;
  }
  lows_[next_] = low;
  next_ = (next_ + 1) % minutes_kept;
  filled_ = std::min(filled_ + 1, minutes_kept);
  if (filled_ < visits_least) return;
  std::array<double, minutes_kept> work = lows_;
  const auto end = work.begin() + static_cast<std::ptrdiff_t>(filled_);
  // The third lowest: the lowest may be slips.
  std::nth_element(work.begin(), work.begin() + 2, end);
  const double candidate = work[2];
  const auto visits = static_cast<std::size_t>(std::count_if(work.begin(), end, [&](double one) { return std::fabs(one - candidate) <= near_share * candidate; }));
  if (visits < visits_least) return;  // not a floor yet; the one before stands
  if (floor_ && candidate < *floor_ * (1.0 - fall_share)) has_fallen_ = true;
  floor_ = candidate;
}

bool Quiet::take_fall() { return std::exchange(has_fallen_, false); }

}  // namespace steadyglow::analysis
