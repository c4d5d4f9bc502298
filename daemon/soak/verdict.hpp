#pragma once
#include "profile/profile.hpp"
#include "soak/event.hpp"
#include "soak/finding_book.hpp"
#include "soak/stages.hpp"

namespace steadyglow::soak {

/// Weighs a run that has ended. Pass needs every planned hour counted and no unexplained event; a person signs.
Verdict weigh(const Stages& stages, const FindingBook& book, const profile::Profile& profile, bool is_tripped, Timestamp at);

}  // namespace steadyglow::soak
