#pragma once
/// One SCPI instrument on a wire of its own.
///
/// Its answers carry nothing that ties them to a question, so the order in which it answers is the proof. After the values of each poll it is
/// asked for its name: what comes next must be the name, and the one that it is bound to. A late, doubled or missing answer, or another
/// instrument on the same plug, is seen in the poll that it spoils, and none of that poll's values is believed. After any error the wire is
/// cleared and read up to its name again, then it is set up anew: it may have been switched off and on.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "drivers/driver.hpp"
#include "drivers/scpi/dialog.hpp"
#include "drivers/scpi/instrument.hpp"

namespace steadyglow::drivers::scpi {

/// A query that met silence this often while others were answered is left out for some polls.
inline constexpr unsigned misses_until_rest = 3;
inline constexpr unsigned polls_of_rest = 10;

struct ScpiSetup {
  std::string name;  ///< of the meter
  Instrument instrument;
  std::string identity;  ///< what it must call itself; empty: whoever answers is taken
};

class ScpiBus : public Bus {
 public:
  /// `timeout`: for one whole answer, real time.
  ScpiBus(wire::Place place, ScpiSetup setup, std::chrono::milliseconds timeout);
  ~ScpiBus() override;

  MeterReply read(std::size_t meter) override;
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override;
  Result<bool> read_output(std::size_t meter, std::size_t output) override;
  BusCounters counters() const override { return counters_; }
  std::chrono::milliseconds call_deadline() const override { return call_deadline_; }

 private:
  /// What is known of who is at the other end.
  enum class Stand : std::uint8_t {
    doubtful,  ///< nothing: clear the wire and ask
    stranger,  ///< another instrument than the bound one; in step
    unset,     ///< the right one, in step, but it did not take its setup
    ready,
  };
  struct QueryState {
    bool has_answered = false;  ///< at any time
    unsigned misses = 0;
    unsigned rest_for_polls = 0;
    Quality last = Quality::no_answer;
  };
  struct Poll;

  Deadline answer_by(Deadline deadline) const;
  bool get_ready(Poll& poll, bool is_order);
  bool get_in_step(Poll& poll, bool is_order);
  bool check_name(Poll& poll, std::string said);
  void set_up(Poll& poll, bool is_order);
  bool prove_step(Poll& poll);
  bool tell_of_stranger(Poll& poll) const;
  bool confirm(Poll& poll);
  void ask_values(Poll& poll);
  void take(const Query& query, std::size_t position, const std::string& answer, Poll& poll);
  Result<bool> ask_switch(const Output& output, Poll& poll);
  void lose_step();

  ScpiSetup setup_;
  std::chrono::milliseconds timeout_;
  std::chrono::milliseconds call_deadline_;
  bool is_clear_when_new_;  ///< a new connection holds nothing old (TCP)
  BusCounters counters_;
  Dialog dialog_;
  std::vector<QueryState> queries_;
  Stand stand_ = Stand::doubtful;
  std::uint64_t session_ = 0;   ///< the wire's, for which `stand_` holds
  bool has_error_queue_;        ///< it is asked for, and answers
  unsigned error_misses_ = 0;   ///< it met silence so often in a row
  std::optional<bool> has_marks_;  ///< it answers *OPC?; empty: not known yet
  unsigned mark_misses_ = 0;
  unsigned attempts_ = 0;       ///< to get in step; each has another number of marks
  std::string identity_;        ///< what it said last
};

}  // namespace steadyglow::drivers::scpi
