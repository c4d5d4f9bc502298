#pragma once
/// Questions and answers over a wire, one line each. An answer may end with a newline, a carriage return or both, whatever ends a question. It makes lines of bytes, knows which lines can be no answer, and what an error queue says.
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::scpi {

using wire::Clock;
using wire::Deadline;

inline constexpr std::size_t answer_bytes_max = 16 * 1024;  ///< longer is no answer to anything that is asked here
inline constexpr std::size_t error_entries_max = 24;        ///< a queue is read at most so far; depths of 10 to 20 are common practice

/// A question that each instrument answers by 1 (IEEE 488.2, 10.19), and no reading is asked by.
inline constexpr std::string_view mark_query = "*OPC?";
bool is_mark(std::string_view answer);

/// What came until an instrument said its name.
struct Naming {
  std::string identity;
  std::size_t lines_before = 0;   ///< answers to something else, thrown away
  bool has_late_number = false;  ///< one of them was a reading
};

/// Thread: one bus thread. Owns: the wire. Fails: Fault::unavailable for silence and a lost wire, Fault::bad_data for what is no line.
class Dialog {
 public:
  Dialog(wire::Place place, std::string terminator, BusCounters& counters);

  wire::Wire& wire() { return *wire_; }
  /// Forgets what was received, and clears the wire.
  Result<void> clear(Deadline deadline);
  /// Forgets what was received: the wire was opened anew.
  void forget() { received_.clear(); }
  /// True when something waits that nobody asked for, or the other end is gone: whatever is asked next would be answered by it. White space
  /// does not count, and at a USBTMC device nothing can be seen.
  bool has_surplus();

  Result<void> tell(std::string_view command, Deadline deadline);
  /// The next line that can be an answer to `question`: not its echo, not an empty line; an instrument's name, which a late answer to
  /// *IDN? would be, only where it is asked for.
  Result<std::string> ask(std::string_view question, Deadline deadline);
  /// Asks *IDN? and reads up to the answer, over whatever late answers come first: an instrument answers in order, so after it there are none.
  /// The name may itself be a late one, of a question before. With `marks` so many mark queries go ahead of it, and only a name
  /// right behind so many is this question's.
  Result<Naming> ask_name(Deadline deadline, unsigned marks = 0);
  /// Reads the error queue until it is empty: its entries, with their codes. Fails when the instrument does not answer `query`.
  Result<std::vector<std::string>> ask_errors(const std::string& query, std::chrono::milliseconds answer_within, Deadline deadline);

 private:
  Result<std::string> next_line(Deadline deadline);

  std::unique_ptr<wire::Wire> wire_;
  std::string terminator_;
  BusCounters& counters_;
  std::string received_;
};

}  // namespace steadyglow::drivers::scpi
