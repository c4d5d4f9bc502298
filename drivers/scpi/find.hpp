#pragma once
/// Which SCPI instrument answers at a place, how it must be spoken to, and the configuration lines for it: for somebody who does not know.
/// It sends *IDN? with each terminator (and baud rate) until one is answered; it sets nothing and switches nothing.
#include <atomic>
#include <chrono>
#include <cstddef>
#include <functional>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::scpi {

inline constexpr int scpi_port = 5025;  ///< the usual port of a raw socket; from memory, not registered for SCPI alone

struct SearchOptions {
  std::chrono::milliseconds answer_within{600};  ///< a slow instrument at 1200 baud takes this long to say its name
  std::vector<int> bauds{9600, 115200, 19200, 57600, 38400, 4800, 2400, 1200};
  bool asks_for_a_value = true;  ///< READ?, and where the instrument does not know it MEAS:VOLT?; errors that this leaves are read
};

/// What is being tried now, for a person: "9600 baud, LF".
struct SearchStep {
  std::size_t number = 0;  ///< from 1
  std::size_t steps = 0;
  std::string trying;
};

struct FirstAnswer {
  std::string query;
  std::string answer;   ///< as it came, without its end; empty: none in time
  std::string trouble;  ///< what the instrument's error queue said of it
};

struct FoundInstrument {
  wire::Place place;
  std::string terminator;  ///< "\n", "\r\n" or "\r"
  std::string identity;    ///< its answer to *IDN?
  FirstAnswer first;
  std::string config_lines;  ///< [[bus]] and [[bus.meter]], ready to copy
};

/// Called on the thread that searches, before each step.
using SearchProgress = std::function<void(const SearchStep&)>;

/// Blocks for at most steps x (answer_within + 1 s), and 20 s where a value is asked for and does not come. Once `is_stopped` is true it ends after the question
/// that it waits for, 3 s at most: with nothing, or with the instrument when that had said its name.
/// Fault::unavailable: nothing answers (the message says how far it got: no port, no connection, bytes that are no text, silence).
/// Fault::usage: it was stopped.
Result<FoundInstrument> find_instrument(const wire::Place& place, const SearchOptions& options, const SearchProgress& progress,
                                        const std::atomic<bool>& is_stopped);

/// The lines of the configuration for an instrument of this identity at this place; `instrument` is the name of its instrument file.
std::string config_lines(const wire::Place& place, const std::string& terminator, const std::string& identity, const std::string& instrument);

}  // namespace steadyglow::drivers::scpi
