#include "soak/mains_watch.hpp"

#include <cmath>

namespace steadyglow::soak {
namespace {

/// Keeps since when something holds; true once it has held for `hold`.
bool held(std::optional<Timestamp>& since, bool holds, Timestamp at, Duration hold) {
  if (!holds) {
    since.reset();
    return false;
  }
  if (!since) since = at;
  return at - *since >= hold;
}

}  // namespace

std::optional<MainsWatch::Change> MainsWatch::step(Timestamp at, double volts) {
  if (!nominal_) return std::nullopt;
  const double share = volts / *nominal_;
  if (std::fabs(share - 1.0) > sag_band) {
    if (!is_disturbed(at)) disturbed_since_ = at;
    disturbed_at_ = at;
  }
  const bool gone = held(gone_since_, share < gone_share, at, gone_after);
  const bool back = held(back_since_, share > back_share, at, back_after);
  const bool outside = held(outside_since_, std::fabs(share - 1.0) > band, at, outside_after);
  if (!is_gone_ && gone) {
    is_gone_ = true;
    return Change::gone;
  }
  if (is_gone_ && back) {
    is_gone_ = false;
    is_outside_ = false;
    return Change::back;
  }
  if (is_gone_) return std::nullopt;
  if (!is_outside_ && outside) {
    is_outside_ = true;
    return Change::outside;
  }
  if (is_outside_ && !outside_since_) {
    is_outside_ = false;
    return Change::inside;
  }
  return std::nullopt;
}

}  // namespace steadyglow::soak
