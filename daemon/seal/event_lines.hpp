#pragma once
/// events.jsonl of a record: one event a line, each holding the digest of the line before.
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::seal {

struct EventLine {
  std::int64_t after_input = 0;  ///< so many inputs had been fed when it was said
  Timestamp at{};
  std::string kind;
  std::string json;  ///< one JSON object
};

/// What the first line holds in place of a digest.
std::string chain_start();

struct ChainedLines {
  std::string text;
  std::string head;  ///< SHA-256 of the last line without its end; chain_start() without a line
};
/// Fails: Fault::bad_data when an event is no JSON object.
Result<ChainedLines> chain(const std::vector<EventLine>& events);

struct ReadLines {
  std::vector<EventLine> events;
  std::string head;
  std::vector<std::string> broken;  ///< sentences: where the chain does not hold, with line and bytes
};
/// Fails: Fault::bad_data, with file and line, for what is no such file.
Result<ReadLines> read_chain(std::string_view text);

}  // namespace steadyglow::seal
