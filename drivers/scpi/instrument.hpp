#pragma once
/// An SCPI instrument as a value: what it is asked, which field of which answer is which channel, and how its outputs are switched.
#include <chrono>
#include <cstddef>
#include <string>
#include <vector>

#include "drivers/channel.hpp"

namespace steadyglow::drivers::scpi {

inline constexpr std::size_t queries_max = 32;
inline constexpr std::size_t commands_max = 16;
inline constexpr std::size_t command_length_max = 200;
inline constexpr std::size_t fields_max = 256;

/// One question, asked once a poll, however many channels its answer holds.
struct Query {
  std::string text;
  std::size_t fields = 1;  ///< how many its answer has; another number means that nobody knows which is which
};

struct Channel : ChannelRule {
  std::size_t query = 0;  ///< position in Instrument::queries
  std::size_t field = 0;  ///< from 0
};

struct Output {
  std::string name;
  std::string on;
  std::string off;
  std::string ask;
};

/// Asked after the values of each poll: they count only if the instrument still is in the state that they are read as. A person can turn a
/// multimeter from volts to ohms at its panel, and its numbers look as good as before.
struct Confirmation {
  std::string query;
  std::vector<std::string> answers;  ///< any of these, compared without quotes and without regard to case
};

struct Instrument {
  std::string title;
  std::string terminator = "\n";           ///< ends what is sent; an answer may end with either
  std::string error_query = "SYST:ERR?";   ///< empty: it has no error queue
  std::vector<std::string> setup;          ///< after its name, at each opening and after each silence: it may have lost its settings
  std::string local;                       ///< at the end, so that its panel can be used; empty: nothing is sent
  std::vector<Query> queries;
  std::vector<Channel> channels;
  std::vector<Output> outputs;
  std::vector<Confirmation> confirmations;
};

}  // namespace steadyglow::drivers::scpi
