#include "outlet/keeper.hpp"

namespace steadyglow::outlet {

std::optional<bool> Keeper::next_write(Instant now) {
  const bool is_due = !tried_at_ || now - *tried_at_ >= order_again_after;
  if (wanted_ == Wanted::unknown || is_accepted_ || is_writing_ || !is_due) return std::nullopt;
  is_writing_ = true;
  tried_at_ = now;
  return wanted_ == Wanted::on;
}

void Keeper::answered(bool wrote_on, bool is_accepted) {
  is_writing_ = false;
  const bool is_current = wrote_on == (wanted_ == Wanted::on);  // an "off" may have overtaken it
  if (is_accepted && is_current) is_accepted_ = true;
  if (!is_accepted) ++refused_writes_;
  if (!is_current) tried_at_.reset();
  // A switch-on that did not go through is not tried behind a person's back: it ends as off.
  if (!is_accepted && wrote_on && wanted_ == Wanted::on) open("the relay did not accept the switch-on", false);
}

void Keeper::open(std::string reason, bool locks) {
  wanted_ = Wanted::off;
  is_accepted_ = false;
  is_locked_ = is_locked_ || locks;
  tried_at_.reset();
  reason_ = std::move(reason);
}

Result<void> Keeper::close(const std::string& who, bool is_at_the_bench) {
  if (who.empty()) return fail(Fault::permission, "nobody's name is given", "power is switched on by a person with a name");
  if (is_locked_ && !is_at_the_bench)
    return fail(Fault::permission, "the interlock holds: " + reason_, "power returns only by a person at the bench who has looked at the unit");
  wanted_ = Wanted::on;
  is_accepted_ = false;
  is_locked_ = false;
  tried_at_.reset();
  reason_ = "switched on by " + who;
  return {};
}

}  // namespace steadyglow::outlet
