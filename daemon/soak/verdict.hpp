#pragma once
#include <string>
#include <vector>

#include "soak/event.hpp"
#include "soak/finding_book.hpp"
#include "soak/point_watch.hpp"
#include "soak/stages.hpp"

namespace steadyglow::soak {

/// Weighs a run that has ended. Pass needs every planned hour counted, no unexplained event, and every last level inside its
/// warning limits by more than its meter may be off (guarded acceptance, for points whose accuracy is stated); a person signs.
/// What the run itself says for or against its hours.
struct Remarks {
  int unplanned_interruptions = 0;
  double unseen_share = 0.0;       ///< of the time with power in counted stages
  std::string touched;             ///< hours after the last touch are too few: says so
  std::vector<std::string> others; ///< what a pass does not go without, and a person weighs
};
/// More than this and the hours are incomplete: the shop's rule, no source.
inline constexpr int interruptions_most = 3;
inline constexpr double unseen_share_most = 0.20;
/// And more than this is worth a remark: protective points alive for 95 % of the time.
inline constexpr double unseen_share_unsaid = 0.05;

Verdict weigh(const Stages& stages, const FindingBook& book, const std::vector<PointWatch>& points, bool is_tripped, Timestamp at, const Remarks& remarks = {});

}  // namespace steadyglow::soak
