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

Result<void> Keeper::may_close(const std::string& who, bool is_at_the_bench) const {
  if (who.empty()) return fail(Fault::permission, "nobody's name is given", "power is switched on by a person with a name");
  if (is_defective())
    return fail(Fault::permission, "this contact is marked defective: " + defect_, "have it replaced by a qualified person, say so with `steadyglow repaired`, then rehearse the trip");
  if (is_locked_ && !is_at_the_bench) return fail(Fault::permission, "the interlock holds: " + reason_, "power returns only by a person at the bench who has looked at the unit");
  return {};
}

void Keeper::order_on(std::string reason) {
  wanted_ = Wanted::on;
  is_accepted_ = false;
  is_locked_ = false;
  tried_at_.reset();
  reason_ = std::move(reason);
}

Result<void> Keeper::close(const std::string& who, bool is_at_the_bench) {
  if (auto may = may_close(who, is_at_the_bench); !may) return may;
  order_on("switched on by " + who);
  return {};
}

Result<void> Keeper::close_by_policy(const std::string& set_by) {
  if (auto may = may_close(set_by, false); !may) return may;
  order_on("switched on again as " + set_by + " had set for this run");
  return {};
}

void Keeper::found(bool is_closed) {
  if (wanted_ != Wanted::unknown) return;
  wanted_ = is_closed ? Wanted::on : Wanted::off;
  is_accepted_ = true;
  reason_ = is_closed ? "found closed after a start of the program" : "found open after a start of the program";
}

void Keeper::mark_defective(std::string why) {
  if (defect_.empty()) defect_ = why.empty() ? "it did not obey" : std::move(why);
}

Result<void> Keeper::repaired(const std::string& who) {
  if (who.empty()) return fail(Fault::permission, "nobody's name is given", "a person with a name says that it was replaced");
  if (defect_.empty()) return fail(Fault::usage, "this contact is not marked defective");
  defect_.clear();
  is_unproven_ = true;
  return {};
}

}  // namespace steadyglow::outlet
