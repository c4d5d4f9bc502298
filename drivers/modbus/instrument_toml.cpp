#include "drivers/modbus/instrument_toml.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <limits>
#include <map>
#include <string>
#include <utility>

#include "core/decimal.hpp"
#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers::modbus {
namespace {

using document::Range;
using document::Table;

constexpr std::array<std::string_view, 4> table_words{"coil", "discrete", "holding", "input"};
constexpr std::array<std::string_view, 9> type_words{"bit", "int16", "uint16", "int32", "uint32", "float32", "int64", "uint64", "float64"};
constexpr std::array<std::string_view, 4> order_words{"ABCD", "CDAB", "BADC", "DCBA"};
constexpr int address_max = 65535;
constexpr int gap_registers_limit = registers_per_request_limit - 2;
constexpr int bit_max = 15;
/// Identification texts are short; a longer one is a mistake of the file.
constexpr int identity_registers_max = 64;

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
    case Type::int64: return {-9223372036854775808.0, 9223372036854775807.0};
    case Type::uint64: return {0.0, 18446744073709551615.0};
    case Type::float32: {
      constexpr double float_max = std::numeric_limits<float>::max();
      return {-float_max, float_max};
    }
    case Type::float64: break;
  }
  return {};
}

bool is_float(Type type) { return type == Type::float32 || type == Type::float64; }

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
  if (type == Type::bit && !table.has("bit"))
    table.mistake("type", "a register holds a number, not a bit", "table = \"coil\" or \"discrete\", or say which of its 16 bits: bit = 0 is the lowest");
  return type.value_or(Type::int16);
}

/// A flag inside a register: `bit` counts from the lowest.
std::uint8_t read_bit(Table& table, const Channel& channel) {
  if (channel.type != Type::bit || is_bit_table(channel.table)) {
    if (table.has("bit")) table.mistake("bit", "`bit` has a meaning for a flag inside a holding or input register only", "type = \"bit\" there, or remove the line");
    (void)table.maybe_whole("bit");
    return 0;
  }
  return static_cast<std::uint8_t>(table.maybe_whole("bit", {0, bit_max}).value_or(0));
}

bool overlap(const Channel& a, const Channel& b) {
  const bool is_apart = a.address + width(a.type) <= b.address || b.address + width(b.type) <= a.address;
  const bool is_two_flags = a.type == Type::bit && b.type == Type::bit && !is_bit_table(a.table) && a.bit != b.bit;
  return a.table == b.table && !is_apart && !is_two_flags;
}

/// Two values out of one register are nearly always a slip of the address.
void check_overlap(Table& table, const Channel& last, const std::vector<Channel>& others) {
  if (last.shares_register) return;
  for (const Channel& other : others) {
    if (other.shares_register || !overlap(other, last)) continue;
    const std::string what = std::string(to_word(last.table)) + (is_bit_table(last.table) ? " " : " register ") + std::to_string(std::max(other.address, last.address));
    table.mistake("address", "`" + last.name + "` and `" + other.name + "` both lie on " + what,
                  "a " + std::string(to_word(other.type)) + " takes " + std::to_string(width(other.type)) + "; if it is meant, write shares_register = true");
    return;
  }
}

Channel read_channel(Table& table, const Instrument& instrument, WordOrder default_order) {
  Channel channel;
  static_cast<ChannelRule&>(channel) = read_channel_head(table);
  const auto registers = from_word<RegisterTable>(table_words, table.word("table", all(table_words)));
  channel.table = registers.value_or(RegisterTable::input);
  channel.address = static_cast<std::uint16_t>(table.whole("address", {0, address_max}));
  channel.type = registers ? read_type(table, channel.table) : Type::int16;
  if (!registers) (void)table.maybe_text("type");
  channel.bit = read_bit(table, channel);
  channel.shares_register = table.maybe_flag("shares_register").value_or(false);
  if (channel.type == Type::bit) {
    refuse_number_keys(table);
    return channel;
  }
  channel.order = from_word<WordOrder>(order_words, table.maybe_word("word_order", all(order_words)).value_or("")).value_or(default_order);
  read_channel_numbers(table, channel, raw_range(channel.type), !is_float(channel.type));
  // Compared with what a float32 holds, so that 9.9e37 written in decimal meets its nearest float.
  if (channel.type == Type::float32)
    for (Sentinel& sentinel : channel.sentinels) sentinel.raw = static_cast<double>(static_cast<float>(sentinel.raw));
  if (channel.address + width(channel.type) - 1 > address_max)
    table.mistake("address", "a value of " + std::to_string(width(channel.type)) + " registers at " + std::to_string(channel.address) + " would reach past the last register");
  if (width(channel.type) > instrument.registers_per_request_max)
    table.mistake("type", std::string(to_word(channel.type)) + " needs " + std::to_string(width(channel.type)) + " registers in one request, but registers_per_request_max is " +
                              std::to_string(instrument.registers_per_request_max));
  return channel;
}

Output read_output(Table& table) {
  Output output;
  output.name = read_name(table, "output", "relay_1");
  output.coil = static_cast<std::uint16_t>(table.whole("coil", {0, address_max}));
  return output;
}

/// The registers that hold what the device calls itself, as text or as one number.
void read_identity_registers(Table& table, Table& registers, WordOrder default_order, IdentityRule& rule) {
  rule.source = IdentityRule::Source::registers;
  rule.table = registers.word("table", {"holding", "input"}) == "input" ? RegisterTable::input : RegisterTable::holding;
  rule.address = static_cast<std::uint16_t>(registers.whole("address", {0, address_max}));
  const std::string type = table.maybe_word("type", {"text", "uint16", "uint32"}).value_or("text");
  rule.is_number = type != "text";
  rule.type = type == "uint32" ? Type::uint32 : Type::uint16;
  rule.order = from_word<WordOrder>(order_words, table.maybe_word("word_order", all(order_words)).value_or("")).value_or(default_order);
  const auto count = registers.maybe_whole("count", {1, identity_registers_max});
  rule.count = static_cast<std::uint16_t>(rule.is_number ? width(rule.type) : count.value_or(1));
  if (!rule.is_number && !registers.has("count")) registers.mistake("", "`count` is missing", "registers of the text, two characters in each");
  if (rule.is_number && count && *count != rule.count)
    registers.mistake("count", "a " + type + " takes " + std::to_string(rule.count) + ", not " + std::to_string(*count) + " registers", "remove `count`");
  if (rule.address + rule.count - 1 > address_max) registers.mistake("address", "it would reach past the last register");
  registers.done();
}

IdentityRule read_identity(Table& table, WordOrder default_order) {
  IdentityRule rule;
  auto registers = table.maybe_table("registers");
  const bool asks_by_function = table.maybe_flag("device_identification").value_or(false);
  if (registers) read_identity_registers(table, *registers, default_order, rule);
  if (const auto code = table.maybe_number("is", {0.0, rule.type == Type::uint32 ? 4294967295.0 : 65535.0})) {
    if (!rule.is_number) table.mistake("is", "`is` names a device-type code, which is a number", "registers = { table = \"holding\", address = 0 } and type = \"uint16\"");
    else if (*code != std::floor(*code)) table.mistake("is", "`is` must be a whole number");
    else rule.is = static_cast<std::uint32_t>(*code);
  }
  if (asks_by_function && registers) table.mistake("device_identification", "there are two ways to ask who it is", "keep the one that the manual describes");
  else if (asks_by_function) rule.source = IdentityRule::Source::device_identification;
  else if (!registers && !table.has("registers")) table.mistake("", "[instrument.identity] does not say how to ask", "registers = { table = \"holding\", address = 100, count = 8 }, or device_identification = true");
  table.done();
  return rule;
}

WordOrder read_modbus_head(Table* head, Instrument& instrument) {
  if (head == nullptr) return WordOrder::abcd;
  const auto order = from_word<WordOrder>(order_words, head->maybe_word("word_order", all(order_words)).value_or("ABCD"));
  instrument.gap_registers_max = head->maybe_whole("gap_registers_max", {0, gap_registers_limit}).value_or(0);
  instrument.registers_per_request_max =
      head->maybe_whole("registers_per_request_max", {1, registers_per_request_limit}).value_or(registers_per_request_limit);
  if (auto identity = head->maybe_table("identity")) instrument.identity = read_identity(*identity, order.value_or(WordOrder::abcd));
  if (instrument.identity.count > instrument.registers_per_request_max)
    head->mistake("identity", "its text needs " + std::to_string(instrument.identity.count) + " registers in one request, but registers_per_request_max is " +
                                  std::to_string(instrument.registers_per_request_max));
  head->done();
  return order.value_or(WordOrder::abcd);
}

}  // namespace

std::string_view to_word(RegisterTable table) { return table_words[static_cast<std::size_t>(table)]; }
std::string_view to_word(Type type) { return type_words[static_cast<std::size_t>(type)]; }
std::string_view to_word(WordOrder order) { return order_words[static_cast<std::size_t>(order)]; }

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  return read_instrument<Instrument>(text, file, "modbus", errors, [&](Table& top, Table* head, Instrument& instrument) {
    const WordOrder order = read_modbus_head(head, instrument);
    auto channels = top.tables("channel");
    auto outputs = top.tables("output");
    top.done();
    check_counts(top, channels.size(), outputs.size(), true);
    read_each(std::move(channels), "channel", instrument.channels, [&](Table& table) {
      const std::size_t errors_here = errors.size();
      Channel channel = read_channel(table, instrument, order);
      if (errors.size() == errors_here) check_overlap(table, channel, instrument.channels);
      return channel;
    });
    std::map<std::uint16_t, std::string> coils_seen;
    read_each(std::move(outputs), "output", instrument.outputs, [&](Table& table) {
      const std::size_t errors_here = errors.size();
      Output output = read_output(table);
      (void)table.maybe_text("note");
      if (errors.size() == errors_here && !coils_seen.emplace(output.coil, output.name).second)
        table.mistake("coil", "coil " + std::to_string(output.coil) + " is already output `" + coils_seen[output.coil] + "`",
                      "two names for one relay would switch two units");
      return output;
    });
  });
}

}  // namespace steadyglow::drivers::modbus
