#pragma once
#include "soak/event.hpp"
#include "soak/finding_book.hpp"
#include "soak/point_watch.hpp"
#include "soak/stages.hpp"

namespace steadyglow::soak {

/// Weighs a run that has ended. Pass needs every planned hour counted, no unexplained event, and every last level inside its
/// warning limits by more than its meter may be off (guarded acceptance, for points whose accuracy is stated); a person signs.
Verdict weigh(const Stages& stages, const FindingBook& book, const std::vector<PointWatch>& points, bool is_tripped, Timestamp at);

}  // namespace steadyglow::soak
