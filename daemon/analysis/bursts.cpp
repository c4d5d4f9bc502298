#include "analysis/bursts.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::analysis {

std::optional<Bursts::Told> Bursts::step(Timestamp at, double value, double level, double spread, double least) {
  const bool is_wild = std::fabs(value - level) > std::max(spreads_wild * spread, least);
  Group* newest = count_ > 0 ? &groups_[(count_ - 1) % groups_kept] : nullptr;
  if (!is_wild) {
    if (newest != nullptr) {
      newest->has_ended = true;
      // When it has not come back to where it was, that was a change, and others speak of changes. The minutes that held
      // the group itself do not tell.
      if (!newest->is_weighed && at - newest->last >= weighed_after) {
        newest->is_weighed = true;
        if (std::fabs(level - newest->level_before) > least) newest->is_step = true;
      }
    }
  } else if (newest != nullptr && at - newest->last <= group_gap) {
    newest->last = at;
    ++newest->wild;
    if (!newest->has_ended && newest->last - newest->first > step_after) newest->is_step = true;
  } else {
    groups_[count_ % groups_kept] = {at, at, 1, false, false, false, level};
    ++count_;
  }
  if (is_wild || newest == nullptr) return std::nullopt;  // a group is weighed once it is over
  int score = 0;
  Told told;
  for (std::size_t i = 0; i < std::min(count_, groups_kept); ++i) {
    const Group& group = groups_[(count_ - 1 - i) % groups_kept];
    if (at - group.first > window) break;
    if (group.is_step || !group.is_weighed) continue;
    score += (group.wild > 1 ? 2 : 1) + static_cast<int>((group.last - group.first) / group_gap);
    ++told.groups;
    told.within = at - group.first;
  }
  if (score < score_needed || told.groups < groups_needed) return std::nullopt;
  return told;
}

bool Bursts::is_calm(Timestamp now) const { return count_ == 0 || now - groups_[(count_ - 1) % groups_kept].last > window; }

}  // namespace steadyglow::analysis
