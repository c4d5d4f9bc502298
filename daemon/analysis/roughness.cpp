#include "analysis/roughness.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::analysis {

bool Roughness::step(double value, double least) {
  if (!before_) {
    before_ = value;
    return false;
  }
  steps_[filled_++] = static_cast<float>(std::fabs(value - *before_));
  before_ = value;
  if (filled_ < readings_per_window) return rough_ >= windows_rough;
  filled_ = 0;
  std::array<float, readings_per_window> work = steps_;
  std::nth_element(work.begin(), work.begin() + readings_per_window / 2, work.end());
  const double now = work[readings_per_window / 2];
  if (kept_ >= windows_least) {
    std::array<float, windows_kept> habit = windows_;
    const auto middle = habit.begin() + static_cast<std::ptrdiff_t>(kept_ / 2);
    std::nth_element(habit.begin(), middle, habit.begin() + static_cast<std::ptrdiff_t>(kept_));
    const double usual = std::max<double>(*middle, least);
    times_ = usual > 0.0 ? now / usual : 0.0;
    rough_ = times_ > times_rougher ? rough_ + 1 : 0;
  }
  // A rough window does not become the habit.
  if (rough_ == 0) {
    windows_[next_] = static_cast<float>(now);
    next_ = (next_ + 1) % windows_kept;
    kept_ = std::min(kept_ + 1, windows_kept);
  }
  return rough_ >= windows_rough;
}

}  // namespace steadyglow::analysis
