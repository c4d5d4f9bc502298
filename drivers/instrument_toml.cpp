#include "drivers/instrument_toml.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <utility>

#include "core/decimal.hpp"

namespace steadyglow::drivers {
namespace {

using document::Range;
using document::Table;

constexpr std::size_t name_length_max = 64;
/// What a device can say of its own channel. That it did not answer, or refused, or is another one, is ours to say.
constexpr std::array<std::string_view, 5> sentinel_words{"over_range", "open_sensor", "stale", "implausible", "contact_lost"};
constexpr std::array<std::string_view, 7> protocols{"modbus", "scpi", "lines", "frames", "sysfs", "mqtt", "gpio"};

void read_plausible(Table& table, ChannelRule& rule) {
  auto band = table.maybe_table("plausible");
  if (!band) return;
  const auto low = band->maybe_number("low");
  const auto high = band->maybe_number("high");
  band->done();
  if (low) rule.plausible_low = *low;
  if (high) rule.plausible_high = *high;
  if (!band->has("low") && !band->has("high"))
    table.mistake("plausible", "`plausible` has neither low nor high", "write { low = -10.5, high = 10.5 }, or one of them");
  if (rule.plausible_low >= rule.plausible_high)
    table.mistake("plausible", "`plausible` is impossible: low " + to_decimal(*low) + " is not below high " + to_decimal(*high), "swap them?");
}

void read_sentinels(Table& table, ChannelRule& rule, Range raw_range, bool is_whole) {
  for (Table& item : table.tables("sentinel")) {
    Sentinel sentinel;
    sentinel.raw = item.number("raw", raw_range);
    if (is_whole && sentinel.raw != std::floor(sentinel.raw))
      item.mistake("raw", "`raw` is " + to_decimal(sentinel.raw) + ", but the register holds whole numbers", "give the raw register value, before scale and offset");
    if (const auto quality = quality_from_word(item.word("quality", {sentinel_words.begin(), sentinel_words.end()}))) sentinel.quality = *quality;
    item.done();
    rule.sentinels.push_back(sentinel);
  }
}

}  // namespace

std::string read_name(Table& table, std::string_view what, std::string_view example) {
  std::string name = table.text("name");
  const auto fits = [](unsigned char c) { return std::islower(c) != 0 || std::isdigit(c) != 0 || c == '_'; };
  if (!name.empty() && (name.size() > name_length_max || !std::all_of(name.begin(), name.end(), fits)))
    table.mistake("name", "`" + name + "` is not a name for a " + std::string(what), "use a-z, 0-9 and _ only, as in " + std::string(example));
  return name;
}

std::vector<std::string_view> quantity_words() {
  std::vector<std::string_view> words;
  for (std::uint8_t i = 0; i < quantity_count; ++i) words.push_back(to_word(static_cast<Quantity>(i)));
  return words;
}

Head read_head(Table& top, std::string_view protocol, std::string& title) {
  auto head = top.maybe_table("instrument");
  if (!head) {
    if (!top.has("instrument")) top.mistake("", "there is no [instrument] table", "begin with [instrument] and protocol = \"" + std::string(protocol) + "\"");
    return {};
  }
  const std::string word = head->word("protocol", {protocols.begin(), protocols.end()});
  if (!word.empty() && word != protocol) {
    head->mistake("protocol", "this instrument speaks " + word + ", but the bus that names it speaks " + std::string(protocol),
                  "name an instrument with protocol = \"" + std::string(protocol) + "\" there, or put the meter on a bus of its own");
    return {.table = std::nullopt, .is_for_another = true};
  }
  title = head->maybe_text("title").value_or("");
  (void)head->maybe_text("source");
  (void)head->maybe_text("note");
  return {.table = std::move(head)};
}

ChannelRule read_channel_head(Table& table) {
  ChannelRule rule;
  rule.name = read_name(table, "channel", "ch1");
  const auto quantity = quantity_from_word(table.word("quantity", quantity_words()));
  if (quantity) rule.quantity = *quantity;
  rule.uom = table.text("uom");
  if (quantity && !rule.uom.empty() && !find_uom(*quantity, rule.uom))
    table.mistake("uom", "`" + rule.uom + "` is no unit of measure for " + std::string(to_word(*quantity)), "one of: " + std::string(uoms_of(*quantity)));
  (void)table.maybe_text("note");
  return rule;
}

void read_channel_numbers(Table& table, ChannelRule& rule, Range raw_range, bool is_whole) {
  rule.scale = table.maybe_number("scale").value_or(1.0);
  rule.offset = table.maybe_number("offset").value_or(0.0);
  if (rule.scale == 0.0) table.mistake("scale", "`scale` is 0: every reading would be the same", "value = raw * scale + offset");
  read_plausible(table, rule);
  read_sentinels(table, rule, raw_range, is_whole);
}

void check_counts(Table& top, std::size_t channels, std::size_t outputs, bool has_outputs) {
  if (channels == 0 && outputs == 0) top.mistake("", std::string("an instrument needs at least one [[channel]]") + (has_outputs ? " or [[output]]" : ""));
  if (channels > channels_max) top.mistake("channel", std::to_string(channels) + " channels are more than " + std::to_string(channels_max));
  if (outputs > outputs_max) top.mistake("output", std::to_string(outputs) + " outputs are more than " + std::to_string(outputs_max));
}

void check_twice(Table& table, std::string_view what, const std::string& name, std::map<std::string, document::Place>& seen) {
  const auto [first, is_new] = seen.emplace(name, table.place("name"));
  if (!is_new && !name.empty())
    table.mistake("name", std::string(what) + " `" + name + "` stands here twice", "the first is at line " + std::to_string(first->second.line));
}

void append_new(Errors& errors, Errors found) {
  for (Error& error : found) {
    const bool is_known = std::any_of(errors.begin(), errors.end(), [&](const Error& e) { return e.where == error.where && e.message == error.message; });
    if (!is_known) errors.push_back(std::move(error));
  }
}

}  // namespace steadyglow::drivers
