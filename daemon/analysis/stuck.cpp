#include "analysis/stuck.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::analysis {

bool Stuck::step(Timestamp at, double value) {
  if (!begun_) begun_ = at;
  if (!value_ || value != *value_) {
    if (value_) {
      longest_calm_ = std::max(longest_calm_, last_ - since_);
      ++changes_;
      const double change = std::fabs(value - *value_);
      if (digit_ == 0.0 || change < digit_ * (1.0 - 1e-6)) {
        digit_ = change;
        large_changes_ = 0;  // what went for a digit was several
        changes_ = 1;
      } else if (change > 1.5 * digit_) {
        ++large_changes_;
      }
    }
    value_ = value;
    since_ = at;
    last_ = at;
    readings_ = 1;
    return false;
  }
  last_ = at;
  ++readings_;
  const Duration calm = at - since_;
  const auto own = Duration{static_cast<Duration::rep>(calm_runs * static_cast<double>(longest_calm_.count()))};
  return since_ - *begun_ > habit_least && changes_ >= changes_least && fine_share * large_changes_ >= changes_ && readings_ >= readings_least && calm > std::max(stuck_least, own);
}

}  // namespace steadyglow::analysis
