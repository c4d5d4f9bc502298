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

std::optional<std::string> Watchdog::unfed_because(Instant now) const {
  const auto seconds = [](auto span) { return std::to_string(std::chrono::round<std::chrono::seconds>(span).count()) + " s"; };
  const std::string what_follows = has_dropped(now) ? "; every contact must be open by now" : "; " + seconds(timing_.drops_after) + " after the last write every contact opens";
  if (const auto part = held_because(now)) return *part + " does not move" + what_follows;
  if (!fed_at_) return "its relay has not taken a write yet";
  const auto hungry_for = now - *fed_at_;
  if (hungry_for <= std::max(2 * timing_.every, timing_.drops_after / 2)) return std::nullopt;
  return "its relay has taken no write for " + seconds(hungry_for) + what_follows;
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
