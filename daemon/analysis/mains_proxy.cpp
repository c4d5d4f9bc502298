#include "analysis/mains_proxy.hpp"

#include <algorithm>
#include <cmath>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {

void MainsProxy::begin(std::int64_t minute) {
  begun_ = minute;
  reference_ = {};
}

std::optional<double> MainsProxy::step(std::int64_t minute, std::span<const Vote> votes) {
  if (minute < begun_ + settled_after_minutes) return std::nullopt;
  std::array<double, groups_max> changes{};
  std::size_t count = 0;
  for (std::size_t i = 0; i < std::min(votes.size(), groups_max); ++i) {
    if (!votes[i].ln_value) continue;
    if (!reference_[i]) reference_[i] = *votes[i].ln_value;
    changes[count++] = (*votes[i].ln_value - *reference_[i]) / votes[i].exponent;
  }
  if (count < 2) return std::nullopt;
  if (count == 2) {
    if (changes[0] * changes[1] <= 0.0) return 0.0;
    return std::fabs(changes[0]) < std::fabs(changes[1]) ? changes[0] : changes[1];
  }
  return median_in_place(std::span<double>(changes.data(), count));
}

}  // namespace steadyglow::analysis
