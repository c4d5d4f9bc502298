#pragma once
/// What an instrument's answer says: a number, that there is none, its name, an error. Text in, values out.
/// Source: IEEE 488.2, response data NR1, NR2, NR3 and *IDN? (sections from memory: 8.7.2 to 8.7.4, 10.14); SCPI-1999 volume 1, section 7.2.1
/// (9.9E37 infinity, 9.91E37 not a number) and section 21.8 (SYSTem:ERRor).
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/quality.hpp"
#include "drivers/text.hpp"

namespace steadyglow::drivers::scpi {

std::string upper(std::string_view text);

struct Number {
  double value = 0.0;
  Quality quality = Quality::implausible;  ///< good, over_range or implausible
  std::string trouble;                     ///< why it is no number, for a person; empty for good and for what the instrument said itself
};
/// NR1, NR2 or NR3 in any locale. +-9.9E37 and the overload words of meters (OL, OVLD, ...) are over_range; 9.91E37, NAN and anything else
/// are implausible. A unit behind the number is not guessed at: the scale of "1.2 mV" would be a matter of luck.
Number read_number(std::string_view text);

/// The parts of an answer: response data are separated by commas, the answers of a compound query by semicolons.
std::vector<std::string_view> split_fields(std::string_view answer);

/// True for what can only be an answer to *IDN?: at least maker, model and serial number, and one of the first two begins with a letter
/// and is no overload word. No list of readings, no error entry and no switch position looks like that.
bool is_identity(std::string_view answer);
/// `bound` is all of `said` after trimming, or its beginning up to a comma: maker, model and serial number without the firmware.
bool is_same_identity(std::string_view bound, std::string_view said);

/// 1, 0, ON or OFF.
std::optional<bool> read_switch(std::string_view answer);

struct ErrorEntry {
  int code = 0;
  std::string text;  ///< as the instrument says it, with the code: -113,"Undefined header"
};
/// An entry of the error queue: <number>,"<text>"; nothing if it is none.
std::optional<ErrorEntry> read_error(std::string_view answer);

/// Printable ASCII; anything else as \xNN, cut to a length that fits a log line.
std::string shown_answer(std::string_view answer);

}  // namespace steadyglow::drivers::scpi
