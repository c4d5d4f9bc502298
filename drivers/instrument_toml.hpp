#pragma once
/// The parts of an instrument file that are the same for every protocol.
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "document/table.hpp"
#include "drivers/channel.hpp"

namespace steadyglow::drivers {

inline constexpr std::size_t channels_max = 256;
inline constexpr std::size_t outputs_max = 64;

/// a-z, 0-9 and _; anything else is a mistake at `name`.
std::string read_name(document::Table& table, std::string_view what, std::string_view example);

/// The words of Quantity, for Table::word.
std::vector<std::string_view> quantity_words();

struct Head {
  std::optional<document::Table> table;  ///< the driver reads its own keys from it, then calls done()
  bool is_for_another = false;           ///< written for another protocol: every other mistake would be noise
};
/// Reads [instrument]: title, protocol (which must be `protocol`), source, note. A mistake is noted when the table is missing or
/// the file is for another protocol.
Head read_head(document::Table& top, std::string_view protocol, std::string& title);

/// Reads `name`, `quantity`, `uom`, `note`.
ChannelRule read_channel_head(document::Table& table);
/// Reads `scale`, `offset`, `plausible` and `sentinel`. `raw_range`: what the wire can carry; `is_whole`: nothing but whole numbers.
void read_channel_numbers(document::Table& table, ChannelRule& rule, document::Range raw_range = {}, bool is_whole = false);

/// Notes a mistake when there are too many of them, or none. `has_outputs`: of a protocol that can switch.
void check_counts(document::Table& top, std::size_t channels, std::size_t outputs, bool has_outputs);

/// Notes a mistake at `name` when the same name was seen before.
void check_twice(document::Table& table, std::string_view what, const std::string& name, std::map<std::string, document::Place>& seen);

/// Reads each table with `read_one`, adds what comes of it to `items`, and notes a name that stands twice and keys that nobody read.
template <typename Item, typename ReadOne>
void read_each(std::vector<document::Table> tables, std::string_view what, std::vector<Item>& items, ReadOne read_one) {
  std::map<std::string, document::Place> seen;
  for (document::Table& table : tables) {
    items.push_back(read_one(table));
    check_twice(table, what, items.back().name, seen);
    table.done();
  }
}

/// What every instrument file has around its own: `read_rest(top, head, instrument)` reads the protocol's keys of [instrument], then the
/// channels and outputs. `head` is null when [instrument] is missing, which is a mistake already. Nothing comes of a file with a mistake.
template <typename Instrument, typename ReadRest>
std::optional<Instrument> read_instrument(std::string_view text, std::string_view file, std::string_view protocol, Errors& errors, ReadRest read_rest) {
  const std::size_t errors_before = errors.size();
  const document::Node root = document::parse(text, file, errors);
  if (errors.size() > errors_before) return std::nullopt;
  document::Table top(root, file, errors);
  Instrument instrument;
  Head head = read_head(top, protocol, instrument.title);
  if (head.is_for_another) return std::nullopt;
  read_rest(top, head.table ? &*head.table : nullptr, instrument);
  if (errors.size() > errors_before) return std::nullopt;
  return instrument;
}

/// Mistakes of one instrument file are told once, however many meters use it.
void append_new(Errors& errors, Errors found);

}  // namespace steadyglow::drivers
