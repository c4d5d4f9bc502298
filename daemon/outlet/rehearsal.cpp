#include "outlet/rehearsal.hpp"

#include <fmt/format.h>

namespace steadyglow::outlet {

void Rehearsal::enter(Step step, Instant now) {
  step_ = step;
  since_ = now;
  is_ordered_ = false;
}

void Rehearsal::note(const std::string& what, Instant now) {
  const double seconds = std::chrono::duration<double>(now - since_).count();
  text_ += fmt::format("{}{} after {:.1f} s", text_.empty() ? "" : "; ", what, seconds);
}

void Rehearsal::fail(std::string why, Instant now) {
  text_ += (text_.empty() ? "" : "; ") + why;
  enter(Step::failed, now);
}

Rehearsal::Order Rehearsal::next_order() {
  if (is_ordered_) return Order::none;
  is_ordered_ = true;
  switch (step_) {
    case Step::unit_off: return Order::open_unit;
    case Step::unit_on: return Order::close_unit;
    case Step::bench_off: return Order::open_bench;
    case Step::bench_on: return Order::close_bench;
    default: return Order::none;
  }
}

void Rehearsal::saw(bool draws_power, Instant now) {
  if (!is_ordered_) return;  // seen before the order went out
  switch (step_) {
    case Step::unit_off:
      if (draws_power) return;
      note("unit relay opened: no current", now);
      return enter(Step::unit_rests, now);
    case Step::unit_on:
      if (!draws_power) return;
      note("closed: current again", now);
      return enter(has_contactor_ ? Step::bench_off : Step::passed, now);
    case Step::bench_off:
      if (draws_power) return;
      note("bench contactor opened: no current", now);
      return enter(Step::bench_rests, now);
    case Step::bench_on:
      if (!draws_power) return;
      note("closed: current again", now);
      return enter(Step::passed, now);
    case Step::unit_rests:
    case Step::bench_rests:
      if (!draws_power) return;
      (step_ == Step::unit_rests ? has_relay_failed_ : has_contactor_failed_) = true;
      return fail("power came back by itself", now);
    case Step::passed:
    case Step::failed: return;
  }
}

void Rehearsal::advance(Instant now) {
  const auto passed = now - since_;
  switch (step_) {
    case Step::unit_off:
      if (passed <= timing_.off_within) return;
      has_relay_failed_ = true;
      return fail(fmt::format("the unit still draws power {:.1f} s after its relay was ordered open", std::chrono::duration<double>(passed).count()), now);
    case Step::bench_off:
      if (passed <= timing_.off_within) return;
      has_contactor_failed_ = true;
      return fail(fmt::format("the unit still draws power {:.1f} s after the bench contactor was ordered open", std::chrono::duration<double>(passed).count()), now);
    case Step::unit_on:
    case Step::bench_on:
      if (passed <= timing_.on_within) return;
      return fail("no current came after closing: is the unit's own switch on, does it start by itself after a loss of supply?", now);
    case Step::unit_rests:
      if (passed >= timing_.rest) enter(Step::unit_on, now);
      return;
    case Step::bench_rests:
      if (passed >= timing_.rest) enter(Step::bench_on, now);
      return;
    case Step::passed:
    case Step::failed: return;
  }
}

void Rehearsal::abort(std::string why, Instant now) {
  if (!is_over()) fail(std::move(why), now);
}

}  // namespace steadyglow::outlet
