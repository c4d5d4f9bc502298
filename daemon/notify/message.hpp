#pragma once
/// One message to one person, whole: whatever carries it needs to know nothing else.
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "alarm/fact.hpp"

namespace steadyglow::notify {

/// What the person has to do, in the first word that they read.
enum class Advice : std::uint8_t { sleep, look, come };
std::string_view to_word(Advice advice);  ///< "SLEEP" | "LOOK" | "COME"

enum class Purpose : std::uint8_t {
  alarm,       ///< the first word of an incident
  repeat,      ///< nobody has acknowledged
  escalation,  ///< to the next person
  changed,     ///< what was told has grown, or the advice is another one now
  over,        ///< it is over; only where it was delivered before
  morning,     ///< the morning sheet
  test,        ///< steadyglow notify test
};
std::string_view to_word(Purpose purpose);

struct Message {
  std::string id;             ///< unique for ever, [a-z0-9-]: Message-ID, fingerprint, and what a second delivery is known by
  Purpose purpose = Purpose::alarm;
  alarm::Priority priority = alarm::Priority::low;
  Advice advice = Advice::sleep;
  std::string person;         ///< the name in the configuration
  std::string route;          ///< the name in the configuration: where it is to go
  std::int64_t incident = 0;  ///< 0: none (test, morning)
  std::string utc;            ///< RFC 3339 label of when it was written
  std::string subject;        ///< one line
  std::string text;           ///< plain text, UTF-8, lines of at most 78 characters
  std::string facts;          ///< the same for machines: one JSON object as text
  std::string link;           ///< acknowledge, from anywhere that reaches the page; may be empty
  std::string picture;        ///< PNG bytes; may be empty
};

}  // namespace steadyglow::notify
