#include "drivers/mqtt/instrument_toml.hpp"

#include <string>
#include <utility>

#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"
#include "drivers/mqtt/broker.hpp"
#include "drivers/mqtt/payload.hpp"

namespace steadyglow::drivers::mqtt {
namespace {

using document::Range;
using document::Table;
using std::chrono::milliseconds;

constexpr Range stale_seconds{0.1, 86400.0};

std::string in_place_of_mark(std::string topic, const std::string& device) {
  for (std::size_t at = topic.find(device_mark); at != std::string::npos; at = topic.find(device_mark, at + device.size())) topic.replace(at, device_mark.size(), device);
  return topic;
}

std::string checked_topic(Table& table, std::string_view key, std::string topic) {
  if (!topic.empty() && !is_topic(in_place_of_mark(topic, "x"))) table.mistake(key, "`" + topic + "` is no single topic", "UTF-8 without + and #; {device} stands for the meter's own `device`");
  return topic;
}
std::string read_topic(Table& table, std::string_view key) { return checked_topic(table, key, table.text(key)); }

std::string read_pointer(Table& table, std::string_view key) {
  std::string pointer = table.maybe_text(key).value_or("");
  if (!is_pointer(pointer)) table.mistake(key, "`" + pointer + "` is no JSON pointer", "RFC 6901: /power/watts is `watts` inside `power`; ~1 stands for / and ~0 for ~");
  return pointer;
}

milliseconds read_stale_after(Table& table, milliseconds otherwise) {
  const auto seconds = table.maybe_number("stale_after_seconds", stale_seconds);
  return seconds ? milliseconds{static_cast<milliseconds::rep>(*seconds * 1000.0 + 0.5)} : otherwise;
}

Words read_words(Table& table, std::string_view on_key, std::string_view off_key) {
  Words words{table.text(on_key), table.text(off_key)};
  if (!words.on.empty() && words.on == words.off) table.mistake(off_key, "`" + words.on + "` cannot mean both");
  return words;
}

/// What holds for all channels unless one says otherwise.
struct Habits {
  milliseconds stale_after{};
  std::string time_field;
  bool is_time_in_milliseconds = false;
};

Habits read_habits(Table& table, const Habits& otherwise) {
  Habits habits = otherwise;
  habits.stale_after = read_stale_after(table, otherwise.stale_after);
  if (table.has("time_field")) habits.time_field = read_pointer(table, "time_field");
  if (const auto unit = table.maybe_word("time_unit", {"s", "ms"})) habits.is_time_in_milliseconds = *unit == "ms";
  return habits;
}

Channel read_channel(Table& table, const Habits& of_all) {
  Channel channel;
  static_cast<ChannelRule&>(channel) = read_channel_head(table);
  read_channel_numbers(table, channel);
  channel.topic = read_topic(table, "topic");
  channel.field = read_pointer(table, "field");
  const Habits habits = read_habits(table, of_all);
  channel.stale_after = habits.stale_after;
  channel.time_field = habits.time_field;
  channel.is_time_in_milliseconds = habits.is_time_in_milliseconds;
  if (channel.stale_after.count() == 0) table.mistake("stale_after_seconds", "nothing says how old a reading may be", "stale_after_seconds = 3 times as long as the device takes between two, here or in [instrument]");
  if (table.has("on") || table.has("off")) {
    channel.words = read_words(table, "on", "off");
    if (channel.quantity != Quantity::state) table.mistake("on", "only a state has words", "remove the lines, or quantity = \"state\"");
  }
  return channel;
}

Output read_output(Table& table, bool has_availability) {
  Output output;
  output.name = read_name(table, "output", "outlet");
  (void)table.maybe_text("note");
  output.topic = read_topic(table, "topic");
  output.orders = read_words(table, "on", "off");
  output.stale_after = read_stale_after(table, {});
  if (auto state = table.maybe_table("state")) {
    output.state_topic = read_topic(*state, "topic");
    output.state_field = read_pointer(*state, "field");
    output.states = state->has("on") || state->has("off") ? read_words(*state, "on", "off") : output.orders;
    state->done();
  } else if (!table.has("state")) {
    table.mistake("state", "nothing says where it tells how it stands", "state = { topic = \"{device}/state\", on = \"ON\", off = \"OFF\" }: an order that nobody confirms is a wish");
  }
  if (auto query = table.maybe_table("query")) {
    output.query_topic = read_topic(*query, "topic");
    output.query = query->maybe_text("payload").value_or("");
    query->done();
  }
  if (!has_availability && output.stale_after.count() == 0)
    table.mistake("stale_after_seconds", "a plug that lost its supply would stand as it did for ever", "availability in [instrument], where the broker says that it is gone, or stale_after_seconds here");
  return output;
}

}  // namespace

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  return read_instrument<Instrument>(text, file, "mqtt", errors, [](Table& top, Table* head, Instrument& instrument) {
    if (head == nullptr) return;
    const Habits habits = read_habits(*head, {});
    instrument.id_field = read_pointer(*head, "id_field");
    if (auto availability = head->maybe_table("availability")) {
      instrument.availability = Availability{read_topic(*availability, "topic"), read_words(*availability, "online", "offline")};
      availability->done();
    }
    head->done();
    auto channels = top.tables("channel");
    auto outputs = top.tables("output");
    top.done();
    check_counts(top, channels.size(), outputs.size(), true);
    read_each(std::move(channels), "channel", instrument.channels, [&](Table& table) { return read_channel(table, habits); });
    read_each(std::move(outputs), "output", instrument.outputs, [&](Table& table) { return read_output(table, instrument.availability.has_value()); });
  });
}

Instrument with_device(Instrument instrument, const std::string& device) {
  const auto set = [&](std::string& topic) { topic = in_place_of_mark(std::move(topic), device); };
  if (instrument.availability) set(instrument.availability->topic);
  for (Channel& channel : instrument.channels) set(channel.topic);
  for (Output& output : instrument.outputs) {
    set(output.topic);
    set(output.state_topic);
    set(output.query_topic);
  }
  return instrument;
}

}  // namespace steadyglow::drivers::mqtt
