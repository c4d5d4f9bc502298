#include "drivers/modbus/instrument_toml.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <map>
#include <string>

#include "core/decimal.hpp"
#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using document::Range;
using document::Table;

constexpr std::array<std::string_view, 4> table_words{"coil", "discrete", "holding", "input"};
constexpr std::array<std::string_view, 6> type_words{"bit", "int16", "uint16", "int32", "uint32", "float32"};
constexpr std::array<std::string_view, 4> order_words{"ABCD", "CDAB", "BADC", "DCBA"};
constexpr int address_max = 65535;
constexpr int gap_registers_limit = registers_per_request_limit - 2;

template <class Enum, std::size_t n>
std::optional<Enum> from_word(const std::array<std::string_view, n>& words, std::string_view word) {
  const auto place = std::find(words.begin(), words.end(), word);
  if (place == words.end()) return std::nullopt;
  return static_cast<Enum>(place - words.begin());
}

template <std::size_t n>
std::vector<std::string_view> all(const std::array<std::string_view, n>& words) {
  return {words.begin(), words.end()};
}

/// The raw values that a type can hold: a sentinel outside could never come.
Range raw_range(Type type) {
  switch (type) {
    case Type::bit: return {0.0, 1.0};
    case Type::int16: return {-32768.0, 32767.0};
    case Type::uint16: return {0.0, 65535.0};
    case Type::int32: return {-2147483648.0, 2147483647.0};
    case Type::uint32: return {0.0, 4294967295.0};
    case Type::float32: break;
  }
  constexpr double float_max = std::numeric_limits<float>::max();
  return {-float_max, float_max};
}

/// A bit is 0 or 1 as it comes; what would bend a number has no meaning for it.
void refuse_number_keys(Table& table) {
  for (const std::string_view key : {"scale", "offset", "plausible", "sentinel", "word_order"})
    if (table.has(key)) table.mistake(key, "`" + std::string(key) + "` has no meaning for a bit", "remove the line");
  // Asked for here so that done() does not call them unknown as well.
  (void)table.maybe_number("scale");
  (void)table.maybe_number("offset");
  (void)table.maybe_table("plausible");
  (void)table.tables("sentinel");
  (void)table.maybe_text("word_order");
}

Type read_type(Table& table, RegisterTable registers) {
  if (is_bit_table(registers)) {
    const std::string word = table.maybe_word("type", all(type_words)).value_or("bit");
    if (word != "bit")
      table.mistake("type", "a " + std::string(table_words[static_cast<std::size_t>(registers)]) + " holds a bit, not " + word,
                    "type = \"bit\", or table = \"input\" or \"holding\"");
    return Type::bit;
  }
  const auto type = from_word<Type>(type_words, table.word("type", all(type_words)));
  if (type == Type::bit) {
    table.mistake("type", "a register holds a number, not a bit", "table = \"coil\" or \"discrete\" for a bit; a flag inside a register is not supported");
    return Type::uint16;
  }
  return type.value_or(Type::int16);
}

Channel read_channel(Table& table, const Instrument& instrument, WordOrder default_order) {
  Channel channel;
  static_cast<ChannelRule&>(channel) = read_channel_head(table);
  const auto registers = from_word<RegisterTable>(table_words, table.word("table", all(table_words)));
  channel.table = registers.value_or(RegisterTable::input);
  channel.address = static_cast<std::uint16_t>(table.whole("address", {0, address_max}));
  channel.type = registers ? read_type(table, channel.table) : Type::int16;
  if (!registers) (void)table.maybe_text("type");
  if (channel.type == Type::bit) {
    refuse_number_keys(table);
    return channel;
  }
  channel.order = from_word<WordOrder>(order_words, table.maybe_word("word_order", all(order_words)).value_or("")).value_or(default_order);
  read_channel_numbers(table, channel, raw_range(channel.type), channel.type != Type::float32);
  // Compared with what a float32 holds, so that 9.9e37 written in decimal meets its nearest float.
  if (channel.type == Type::float32)
    for (Sentinel& sentinel : channel.sentinels) sentinel.raw = static_cast<double>(static_cast<float>(sentinel.raw));
  if (channel.address + width(channel.type) - 1 > address_max)
    table.mistake("address", "a 32-bit value at 65535 would reach past the last register");
  if (width(channel.type) > instrument.registers_per_request_max)
    table.mistake("type", "a 32-bit value needs 2 registers in one request, but registers_per_request_max is 1");
  return channel;
}

Output read_output(Table& table) {
  Output output;
  output.name = read_name(table, "output", "relay_1");
  output.coil = static_cast<std::uint16_t>(table.whole("coil", {0, address_max}));
  return output;
}

WordOrder read_modbus_head(std::optional<Table>& head, Instrument& instrument) {
  if (!head) return WordOrder::abcd;
  const auto order = from_word<WordOrder>(order_words, head->maybe_word("word_order", all(order_words)).value_or("ABCD"));
  instrument.gap_registers_max = head->maybe_whole("gap_registers_max", {0, gap_registers_limit}).value_or(0);
  instrument.registers_per_request_max =
      head->maybe_whole("registers_per_request_max", {1, registers_per_request_limit}).value_or(registers_per_request_limit);
  head->done();
  return order.value_or(WordOrder::abcd);
}

}  // namespace

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  const std::size_t errors_before = errors.size();
  const document::Node root = document::parse(text, file, errors);
  if (errors.size() > errors_before) return std::nullopt;
  Table top(root, file, errors);
  Instrument instrument;
  Head head = read_head(top, "modbus", instrument.title);
  if (head.is_for_another) return std::nullopt;
  const WordOrder order = read_modbus_head(head.table, instrument);
  auto channels = top.tables("channel");
  auto outputs = top.tables("output");
  top.done();
  if (channels.empty() && outputs.empty()) top.mistake("", "an instrument needs at least one [[channel]] or [[output]]");
  if (channels.size() > channels_max)
    top.mistake("channel", std::to_string(channels.size()) + " channels are more than " + std::to_string(channels_max));
  if (outputs.size() > outputs_max)
    top.mistake("output", std::to_string(outputs.size()) + " outputs are more than " + std::to_string(outputs_max));
  std::map<std::string, document::Place> channels_seen;
  for (Table& table : channels) {
    instrument.channels.push_back(read_channel(table, instrument, order));
    check_twice(table, "channel", instrument.channels.back().name, channels_seen);
    table.done();
  }
  std::map<std::string, document::Place> outputs_seen;
  std::map<std::uint16_t, std::string> coils_seen;
  for (Table& table : outputs) {
    const std::size_t errors_here = errors.size();
    instrument.outputs.push_back(read_output(table));
    const bool is_read = errors.size() == errors_here;
    (void)table.maybe_text("note");
    const Output& output = instrument.outputs.back();
    check_twice(table, "output", output.name, outputs_seen);
    if (is_read && !coils_seen.emplace(output.coil, output.name).second)
      table.mistake("coil", "coil " + std::to_string(output.coil) + " is already output `" + coils_seen[output.coil] + "`",
                    "two names for one relay would switch two units");
    table.done();
  }
  if (errors.size() > errors_before) return std::nullopt;
  return instrument;
}

}  // namespace steadyglow::drivers::modbus
