#include "outlet/watchdog.hpp"

namespace steadyglow::outlet {

void Watchdog::expect(const std::string& part, Instant now) { parts_.emplace(part, now); }

void Watchdog::progress(const std::string& part, Instant now) {
  const auto found = parts_.find(part);
  if (found != parts_.end()) found->second = now;
}

std::optional<std::string> Watchdog::held_because(Instant now) const {
  for (const auto& [part, at] : parts_)
    if (now - at > timing_.stuck_after) return part;
  return std::nullopt;
}

bool Watchdog::next_write(Instant now) {
  if (is_writing_ || (tried_at_ && now - *tried_at_ < timing_.every) || held_because(now)) return false;
  is_writing_ = true;
  tried_at_ = now;
  return true;
}

void Watchdog::answered(bool is_accepted, Instant now) {
  is_writing_ = false;
  if (is_accepted) fed_at_ = now;
}

}  // namespace steadyglow::outlet
