#pragma once
/// Whose turn it is on a bus: every meter on its own fixed grid, silent ones probed so rarely that the others keep their rate.
/// No clock in here: the time comes in.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <vector>

namespace steadyglow::acquire {

/// Real time since boot, suspend included (CLOCK_BOOTTIME); not run time.
using Instant = std::chrono::nanoseconds;
using Span = std::chrono::nanoseconds;

/// A meter is silent after this many polls in a row without an answer: one lost frame is not silence.
inline constexpr unsigned misses_until_silent = 2;
/// The pause between probes of a silent meter doubles from its period up to this, or to its period if that is longer.
inline constexpr Span probe_pause_max = std::chrono::seconds{5};
/// Probes that would delay another meter may take one part in this many of the bus's time: the others keep 96 % of their rate.
inline constexpr int probe_share = 25;

struct Step {
  enum class Kind {
    poll,          ///< ask this meter now
    report_silent, ///< it is this meter's turn, but it is silent and not to be asked yet
    wait,          ///< nothing before `until`
  };
  Kind kind = Kind::wait;
  std::size_t meter = 0;
  Instant until{};
};

class Schedule {
 public:
  /// Real periods, one per meter, each above zero; all are due at `start`.
  Schedule(std::vector<Span> periods, Instant start);

  Step next(Instant now) const;
  /// A poll has been made, whatever came of it.
  void polled(std::size_t meter, Instant began, Instant ended, bool is_answered);
  /// Its turn went by without a poll.
  void reported(std::size_t meter, Instant now);
  /// Asked next, before every turn and in spite of silence.
  void poll_soon(std::size_t meter);

  bool is_silent(std::size_t meter) const { return slots_[meter].is_silent; }
  /// Turns of answering meters that went by because the bus was busy. They are not made up for.
  std::uint64_t overruns() const { return overruns_; }

 private:
  struct Slot {
    Span period{};
    Instant due{};
    bool is_silent = false;
    unsigned misses = 0;
    Span pause{};
    Instant probe_at{};
    Span probe_cost{};
  };
  bool may_probe(const Slot& slot, Instant now, const Slot* next_answering) const;
  std::uint64_t advance(Slot& slot, Instant now);
  void miss(Slot& slot, Instant began, Instant ended);

  std::vector<Slot> slots_;
  std::deque<std::size_t> soon_;
  Instant probes_allowed_at_{};
  std::uint64_t overruns_ = 0;
};

}  // namespace steadyglow::acquire
