#pragma once
/// Rows on their way into the file.
#include <cstdint>
#include <string>
#include <variant>

#include "core/timestamp.hpp"
#include "store/rows.hpp"

namespace steadyglow::store {

struct RunEnds {
  std::int64_t run = 0;
  std::int64_t last_seq = 0;
  std::string ended_utc;
};
struct BatchRow {
  std::int64_t seq = 0;
  std::int64_t run = 0;
  Timestamp at{};
  std::string readings;  ///< encoded
};
struct TextRow {
  bool is_event = false;  ///< else an input
  std::int64_t seq = 0;
  std::int64_t run = 0;
  Timestamp at{};
  std::string kind;
  std::string json;
};
using Row = std::variant<RunBegins, RunEnds, BatchRow, TextRow, JournalRow>;

}  // namespace steadyglow::store
