#pragma once
/// The parts of an instrument file that are the same for every protocol.
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
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

/// Mistakes of one instrument file are told once, however many meters use it.
void append_new(Errors& errors, Errors found);

}  // namespace steadyglow::drivers
