#pragma once
/// From bytes to lines, and from a line to values. No I/O and no clock.
/// Source of the quoting in csv: RFC 4180, section 2 (a line break inside quotes is not supported: here a line is a line).
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/driver.hpp"
#include "drivers/lines/instrument.hpp"

namespace steadyglow::drivers::lines {

/// Cuts a stream at its line ends (\n, \r or both). Begins in the middle of a line unless told otherwise: what comes before the first
/// line end is thrown away.
class LineCutter {
 public:
  /// What comes next may begin in the middle of a line.
  void lose_track();
  /// What comes next begins a line.
  void begin_line();
  void take(std::string_view bytes);
  /// The next whole line without its end, never empty; nothing if there is none.
  std::optional<std::string> next();
  std::uint64_t too_long() const { return too_long_; }

 private:
  std::string text_;
  std::size_t searched_ = 0;  ///< of text_, without a line end in it
  bool is_skipping_ = true;
  std::uint64_t too_long_ = 0;
};

/// A whole, well-made line.
struct Line {
  std::vector<ChannelValue> channels;
  std::optional<std::uint64_t> counter;
  std::string id;
  std::string trouble;  ///< a text nobody declared in the place of a number
};

struct Outcome {
  enum class Kind : std::uint8_t { reading, header, remark, damaged };
  Kind kind = Kind::damaged;
  Line line;
  std::vector<std::string> columns;  ///< of a header
  std::string why;                   ///< of a damaged line
};

/// `columns`: the names in use, for csv; empty if none are known yet. A line that does not hold every channel (and counter, and id)
/// exactly once is no reading: whatever is wrong with a part of a line, nothing of it is believed.
Outcome read_line(const Instrument& instrument, const std::vector<std::string>& columns, std::string_view line);

/// The fields of a csv line; nothing where the quotes do not match.
std::optional<std::vector<std::string>> split_csv(std::string_view line, char separator);


/// For a log: printable, and short.
std::string shown(std::string_view text);

}  // namespace steadyglow::drivers::lines
