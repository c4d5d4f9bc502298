#include "outlet/watchdog.hpp"

#include <algorithm>

namespace steadyglow::outlet {

void Watchdog::expect(const std::string& part, Instant now, std::chrono::milliseconds allowed) {
  parts_.try_emplace(part, Part{now, std::max(allowed, timing_.stuck_after)});
}

void Watchdog::progress(const std::string& part, Instant now) {
  const auto found = parts_.find(part);
  if (found != parts_.end()) found->second.moved_at = now;
}

std::optional<std::string> Watchdog::held_because(Instant now) const {
  for (const auto& [name, part] : parts_)
    if (now - part.moved_at > part.allowed) return name;
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
