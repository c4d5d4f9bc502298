#include "drivers/lines/instrument_toml.hpp"

#include <algorithm>
#include <array>
#include <map>
#include <string>
#include <utility>

#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers::lines {
namespace {

using document::Range;
using document::Table;

constexpr std::array<std::string_view, 3> quality_words{"over_range", "open_sensor", "implausible"};
constexpr Range stale_seconds{0.2, 600.0};
constexpr Range settle_seconds{0.0, 30.0};
constexpr std::size_t ask_bytes_max = 64;

std::chrono::milliseconds read_seconds(Table& table, std::string_view key, Range range, std::chrono::milliseconds otherwise) {
  const auto seconds = table.maybe_number(key, range);
  return seconds ? std::chrono::milliseconds{static_cast<std::int64_t>(*seconds * 1000.0 + 0.5)} : otherwise;
}

void read_separator(Table& head, Instrument& instrument) {
  const std::string otherwise = instrument.format == Format::csv ? "," : " ";
  const std::string text = head.maybe_text("separator").value_or(otherwise);
  constexpr std::string_view allowed = " ,;\t|";
  if (text.size() != 1 || allowed.find(text) == std::string_view::npos)
    return head.mistake("separator", "`separator` is `" + text + "`", "one of \" \", \",\", \";\", \"|\" and \"\\t\"");
  instrument.separator = text.front();
  if (instrument.format == Format::csv && instrument.separator == ' ')
    head.mistake("separator", "blanks part no fields in csv", "two blanks in a row would shift every column; write what stands between the fields");
}

/// How the columns get their names: said by the device, written here, or by number.
void read_columns(Table& head, Instrument& instrument) {
  instrument.columns = head.texts("columns");
  instrument.has_header = head.maybe_flag("header").value_or(false);
  const auto fields = head.maybe_whole("fields", {1, columns_max});
  const int ways = (head.has("columns") ? 1 : 0) + (instrument.has_header ? 1 : 0) + (head.has("fields") ? 1 : 0);
  if (instrument.format == Format::key_value) {
    for (const std::string_view key : {"columns", "header", "fields"})
      if (head.has(key)) head.mistake(key, "`" + std::string(key) + "` has no meaning for key_value", "remove the line, or format = \"csv\"");
    return;
  }
  if (ways != 1)
    return head.mistake("format", "nobody says what the columns are called", "write one of: columns = [\"time\", \"t1\"], header = true (the device says them), fields = 9 (they go by number)");
  if (fields)
    for (int i = 1; i <= *fields; ++i) instrument.columns.push_back(std::to_string(i));
  if (instrument.columns.size() > columns_max) head.mistake("columns", std::to_string(instrument.columns.size()) + " columns are more than " + std::to_string(columns_max));
  for (const std::string& name : instrument.columns)
    if (!name.empty() && std::count(instrument.columns.begin(), instrument.columns.end(), name) > 1)
      return head.mistake("columns", "column `" + name + "` stands here twice", "give each its own name; one that nobody needs may be \"\"");
}

void read_lines_head(Table& head, Instrument& instrument) {
  instrument.format = head.word("format", {"key_value", "csv"}) == "csv" ? Format::csv : Format::key_value;
  read_separator(head, instrument);
  read_columns(head, instrument);
  instrument.counter = head.maybe_text("counter").value_or("");
  instrument.id = head.maybe_text("id").value_or("");
  if (const auto word = head.maybe_word("checksum", checksum_words())) instrument.checksum = checksum_from_word(*word);
  instrument.ask = head.maybe_text("ask").value_or("");
  if (instrument.ask.size() > ask_bytes_max) head.mistake("ask", "`ask` is longer than " + std::to_string(ask_bytes_max) + " bytes");
  instrument.stale_after = read_seconds(head, "stale_after_seconds", stale_seconds, instrument.stale_after);
  instrument.settle = read_seconds(head, "settle_seconds", settle_seconds, instrument.settle);
  head.done();
}

void check_column(Table& table, std::string_view at, const std::string& name, const Instrument& instrument) {
  if (instrument.format != Format::csv || instrument.has_header || name.empty() || instrument.columns.empty()) return;
  if (std::find(instrument.columns.begin(), instrument.columns.end(), name) != instrument.columns.end()) return;
  const std::vector<std::string_view> known(instrument.columns.begin(), instrument.columns.end());
  const std::string near = document::nearest(name, known);
  table.mistake(at, "there is no column `" + name + "`", near.empty() ? "" : "did you mean \"" + near + "\"?");
}

std::string read_key(Table& table, const Instrument& instrument) {
  if (!table.has("column")) return table.text("key");
  const int column = table.whole("column", {1, columns_max});
  if (table.has("key")) table.mistake("column", "`column` and `key` both say where it stands", "remove one of them");
  (void)table.maybe_text("key");
  if (instrument.format == Format::key_value || instrument.has_header) {
    table.mistake("column", "`column` has no meaning here", "write key = \"...\": " + std::string(instrument.has_header ? "the device says the columns' names" : "the pairs have names, not places"));
    return {};
  }
  if (column < 1) return {};
  if (static_cast<std::size_t>(column) > instrument.columns.size()) {
    table.mistake("column", "there is no column " + std::to_string(column) + ", only " + std::to_string(instrument.columns.size()), "the first is 1");
    return {};
  }
  return instrument.columns[static_cast<std::size_t>(column) - 1];
}

Channel read_channel(Table& table, const Instrument& instrument) {
  Channel channel;
  static_cast<ChannelRule&>(channel) = read_channel_head(table);
  channel.key = read_key(table, instrument);
  check_column(table, table.has("column") ? "column" : "key", channel.key, instrument);
  read_channel_numbers(table, channel);
  for (Table& item : table.tables("word")) {
    WordMeaning word;
    word.text = item.text("text");
    if (const auto quality = quality_from_word(item.word("quality", {quality_words.begin(), quality_words.end()}))) word.quality = *quality;
    item.done();
    channel.words.push_back(std::move(word));
  }
  return channel;
}

/// One key is one channel's, and no measurement when it is the device's own.
void check_key(Table& table, const Channel& channel, const Instrument& instrument, std::map<std::string, std::string>& keys_seen) {
  if (channel.key.empty()) return;
  const std::string_view at = table.has("column") ? "column" : "key";
  const auto [first, is_new] = keys_seen.emplace(channel.key, channel.name);
  if (!is_new) table.mistake(at, "`" + channel.key + "` is already channel `" + first->second + "`", "two names for one figure would look like two sensors that agree");
  if (channel.key == instrument.counter || channel.key == instrument.id)
    table.mistake(at, "`" + channel.key + "` is the device's " + (channel.key == instrument.id ? "id" : "counter") + ", no measurement");
}

}  // namespace

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  return read_instrument<Instrument>(text, file, "lines", errors, [](Table& top, Table* head, Instrument& instrument) {
    if (head != nullptr) read_lines_head(*head, instrument);
    auto channels = top.tables("channel");
    top.done();
    check_counts(top, channels.size(), 0, false);
    std::map<std::string, std::string> keys_seen;
    read_each(std::move(channels), "channel", instrument.channels, [&](Table& table) {
      Channel channel = read_channel(table, instrument);
      check_key(table, channel, instrument, keys_seen);
      return channel;
    });
    if (head != nullptr) {
      check_column(*head, "counter", instrument.counter, instrument);
      check_column(*head, "id", instrument.id, instrument);
    }
  });
}

}  // namespace steadyglow::drivers::lines
