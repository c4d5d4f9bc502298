#pragma once
/// The trip path proven before anybody relies on it: the unit's relay is opened, the current must fall; it is closed, the
/// current must come; then the same with the bench contactor. A person stands beside it.
/// Proving a trip path before use and at intervals is the proof test of IEC 61508-4 3.8.5 (seen second-hand).
#include <chrono>
#include <optional>
#include <string>

namespace steadyglow::outlet {

using Instant = std::chrono::steady_clock::time_point;

struct RehearsalTiming {
  std::chrono::milliseconds off_within{2000};  ///< from the order to a current of nothing
  std::chrono::milliseconds on_within{10000};  ///< from the order to a current again
  std::chrono::milliseconds rest{3000};        ///< off for so long, so that it is no short sag
};

class Rehearsal {
 public:
  enum class Step { unit_off, unit_rests, unit_on, bench_off, bench_rests, bench_on, passed, failed };
  /// What is to be switched now. The relay words are those of the Keeper's owner.
  enum class Order { none, open_unit, close_unit, open_bench, close_bench };

  Rehearsal(bool has_contactor, RehearsalTiming timing, Instant now) : has_contactor_(has_contactor), timing_(timing), since_(now) {}

  /// The order of the step that has just begun; once each.
  Order next_order();
  /// A reading of the unit's current or watts: does it draw power?
  void saw(bool draws_power, Instant now);
  void advance(Instant now);
  void abort(std::string why, Instant now);

  Step step() const { return step_; }
  bool is_over() const { return step_ == Step::passed || step_ == Step::failed; }
  /// "relay opened, proven after 0.4 s; ...": what has been shown so far, or what failed.
  const std::string& text() const { return text_; }
  /// What did not obey; empty unless it failed in that way.
  bool has_relay_failed() const { return has_relay_failed_; }
  bool has_contactor_failed() const { return has_contactor_failed_; }

 private:
  void enter(Step step, Instant now);
  void note(const std::string& what, Instant now);
  void fail(std::string why, Instant now);

  bool has_contactor_;
  RehearsalTiming timing_;
  Instant since_;
  Step step_ = Step::unit_off;
  bool is_ordered_ = false;
  bool has_relay_failed_ = false;
  bool has_contactor_failed_ = false;
  std::string text_;
};

}  // namespace steadyglow::outlet
