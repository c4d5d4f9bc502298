#pragma once
/// The only path that can switch power. Small enough to read aloud.
///
/// Off is always allowed, from anybody, at once, and is written again until the relay has accepted it.
/// On is allowed to a person, and after a trip only to a person who stands at the bench. The one thing that closes a
/// contact without a person is what a person set for this run beforehand, and that never opens an interlock.
/// A contact that did not obey is defective: nobody closes it until somebody has replaced it.
#include <chrono>
#include <optional>
#include <string>

#include "core/result.hpp"

namespace steadyglow::outlet {

/// Real monotonic time: relays do not know of an accelerated clock.
using Instant = std::chrono::steady_clock::time_point;

/// An order that the relay did not accept is given again after this long.
inline constexpr std::chrono::milliseconds order_again_after{500};

enum class Wanted { unknown, on, off };

class Keeper {
 public:
  /// A relay is to be written now, if there is an answer; call answered() when it has spoken.
  std::optional<bool> next_write(Instant now);
  void answered(bool wrote_on, bool is_accepted);

  /// Order it off. `locks`: after a trip, so that only a person at the bench may switch on again.
  void open(std::string reason, bool locks);
  /// Whether a person may order it on: not while defective; while locked, only one who is at the bench.
  Result<void> may_close(const std::string& who, bool is_at_the_bench) const;
  Result<void> close(const std::string& who, bool is_at_the_bench);
  /// The policy that `set_by` chose for this run switches on again. Refused while locked.
  Result<void> close_by_policy(const std::string& set_by);

  /// After a start of the program the device was asked how the contact stands. Orders nothing.
  void found(bool is_closed);

  /// The contact did not obey: the current went on. No closing from now on.
  void mark_defective(std::string why);
  /// A person has replaced or repaired it. That it obeys, only a rehearsal proves.
  Result<void> repaired(const std::string& who);
  void proven() { is_unproven_ = false; }
  bool is_defective() const { return !defect_.empty(); }
  const std::string& defect() const { return defect_; }
  /// Repaired, and not rehearsed since.
  bool is_unproven() const { return is_unproven_ || is_defective(); }

  Wanted wanted() const { return wanted_; }
  bool is_accepted() const { return is_accepted_; }  ///< the relay took the last order; whether it obeyed, the current tells
  bool is_locked() const { return is_locked_; }
  const std::string& reason() const { return reason_; }
  unsigned refused_writes() const { return refused_writes_; }

 private:
  void order_on(std::string reason);

  Wanted wanted_ = Wanted::unknown;
  bool is_accepted_ = true;
  bool is_locked_ = false;
  bool is_writing_ = false;
  std::optional<Instant> tried_at_;
  unsigned refused_writes_ = 0;
  std::string reason_;
  std::string defect_;
  bool is_unproven_ = false;
};

}  // namespace steadyglow::outlet
