#include "acquire/schedule.hpp"

#include <algorithm>
#include <cassert>

namespace steadyglow::acquire {

Schedule::Schedule(std::vector<Span> periods, Instant start) {
  for (const Span period : periods) {
    assert(period > Span::zero());
    Slot slot;
    slot.period = period;
    slot.pause = period;
    slot.due = start;
    slots_.push_back(slot);
  }
}

Step Schedule::next(Instant now) const {
  if (!soon_.empty()) return {Step::Kind::poll, soon_.front(), now};
  const Slot* first = nullptr;
  const Slot* first_answering = nullptr;
  for (const Slot& slot : slots_) {
    if (first == nullptr || slot.due < first->due) first = &slot;
    if (!slot.is_silent && (first_answering == nullptr || slot.due < first_answering->due)) first_answering = &slot;
  }
  const auto position = [&](const Slot* slot) { return static_cast<std::size_t>(slot - slots_.data()); };
  if (first_answering != nullptr && first_answering->due <= now) return {Step::Kind::poll, position(first_answering), now};
  if (first == nullptr) return {Step::Kind::wait, 0, Instant::max()};
  if (first->due > now) return {Step::Kind::wait, 0, first->due};
  const bool is_probe = may_probe(*first, now, first_answering);
  return {is_probe ? Step::Kind::poll : Step::Kind::report_silent, position(first), now};
}

/// A probe is free while it ends before anybody else's turn; otherwise it comes out of the share for probes, which goes
/// to the silent meter that has waited longest.
bool Schedule::may_probe(const Slot& slot, Instant now, const Slot* next_answering) const {
  if (now < slot.probe_at) return false;
  if (next_answering == nullptr || now + slot.probe_cost <= next_answering->due) return true;
  const bool is_longest_waiting = std::none_of(slots_.begin(), slots_.end(), [&](const Slot& other) { return other.is_silent && other.probe_at < slot.probe_at; });
  return is_longest_waiting && now >= probes_allowed_at_;
}

/// Moves on to the next turn after `now`; gives the number of turns that went by in between.
std::uint64_t Schedule::advance(Slot& slot, Instant now) {
  if (slot.due > now) return 0;
  const auto skipped = (now - slot.due) / slot.period;
  slot.due += slot.period * (skipped + 1);
  return static_cast<std::uint64_t>(skipped);
}

void Schedule::miss(Slot& slot, Instant began, Instant ended) {
  ++slot.misses;
  slot.probe_cost = ended - began;
  if (slot.misses < misses_until_silent) return;
  slot.is_silent = true;
  // From the turn on the grid, so that a pause of one period ends with the next turn.
  slot.probe_at = slot.due - slot.period + slot.pause;
  slot.pause = std::min(slot.pause * 2, std::max(probe_pause_max, slot.period));
  probes_allowed_at_ = ended + slot.probe_cost * (probe_share - 1);
}

void Schedule::polled(std::size_t meter, Instant began, Instant ended, bool is_answered) {
  Slot& slot = slots_[meter];
  if (!soon_.empty() && soon_.front() == meter) soon_.pop_front();
  const std::uint64_t skipped = advance(slot, began);
  if (!slot.is_silent) overruns_ += skipped;
  if (!is_answered) return miss(slot, began, ended);
  slot.is_silent = false;
  slot.misses = 0;
  slot.pause = slot.period;
}

void Schedule::reported(std::size_t meter, Instant now) { (void)advance(slots_[meter], now); }

void Schedule::poll_soon(std::size_t meter) {
  if (std::find(soon_.begin(), soon_.end(), meter) == soon_.end()) soon_.push_back(meter);
}

}  // namespace steadyglow::acquire
