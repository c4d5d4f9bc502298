#include "drivers/scpi/instrument_toml.hpp"

#include <algorithm>
#include <map>
#include <utility>

#include "drivers/instrument_toml.hpp"
#include "drivers/scpi/answer.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using document::Table;

/// What goes over the wire as one message: printable, not too long, and never a reset.
void check_message(Table& table, std::string_view key, const std::string& message) {
  const bool is_printable = std::all_of(message.begin(), message.end(), [](unsigned char c) { return c >= 0x20 && c < 0x7F; });
  if (!is_printable) table.mistake(key, "a command is one line of plain characters", "the terminator is added by itself");
  if (message.size() > command_length_max) table.mistake(key, "a command has at most " + std::to_string(command_length_max) + " characters");
  if (upper(message).find("*RST") != std::string::npos)
    table.mistake(key, "*RST is not sent: it would undo what somebody set at the panel, and may switch an output", "name the settings that you need in `setup`, as in \"CONF:VOLT:DC AUTO\"");
}

std::string read_query(Table& table, std::string_view key) {
  std::string query(trimmed(table.text(key)));
  if (query.empty()) return query;
  check_message(table, key, query);
  if (query.find('?') == std::string::npos) table.mistake(key, "`" + query + "` is no question", "a query has a question mark, as in READ? or MEAS:VOLT:DC?");
  return query;
}

std::string read_command(Table& table, std::string_view key) {
  std::string command(trimmed(table.text(key)));
  if (command.empty()) return command;
  check_message(table, key, command);
  if (command.find('?') != std::string::npos)
    table.mistake(key, "`" + command + "` is a question", "its answer would be taken for another's; write a command without a question mark");
  return command;
}

std::vector<std::string> read_setup(Table& head) {
  std::vector<std::string> setup;
  if (!head.has("setup")) return setup;
  for (const std::string& line : head.texts("setup")) {
    setup.emplace_back(trimmed(line));
    check_message(head, "setup", line);
    if (line.find('?') != std::string::npos)
      head.mistake("setup", "`" + line + "` is a question", "its answer would be taken for another's; write a command without a question mark");
    if (setup.back().empty()) head.mistake("setup", "an empty command");
  }
  if (setup.size() > commands_max) head.mistake("setup", std::to_string(setup.size()) + " commands are more than " + std::to_string(commands_max));
  return setup;
}

std::vector<Confirmation> read_confirmations(Table& head) {
  std::vector<Confirmation> confirmations;
  for (Table& table : head.tables("confirm")) {
    Confirmation confirmation;
    confirmation.query = read_query(table, "query");
    confirmation.answers = table.texts("answers");
    if (confirmation.answers.empty()) table.mistake("answers", "no answer would do", "write what the instrument says when all is well, as in answers = [\"VOLT\"]");
    for (const std::string& answer : confirmation.answers)
      if (is_identity(answer))
        table.mistake("answers", "`" + answer + "` has the shape of a name, as a late answer to *IDN? has, and is thrown away as one: it would never be met", "ask for less, as in FUNC?, and for each part by a question of its own");
    table.done();
    confirmations.push_back(std::move(confirmation));
  }
  if (confirmations.size() > commands_max) head.mistake("confirm", std::to_string(confirmations.size()) + " are more than " + std::to_string(commands_max));
  return confirmations;
}

void read_scpi_head(Table& head, Instrument& instrument) {
  if (auto terminator = read_terminator(head)) instrument.terminator = *terminator;
  // Empty is allowed, and says that there is no error queue.
  if (auto query = head.maybe_text("error_query")) {
    instrument.error_query = *query;
    check_message(head, "error_query", *query);
  }
  instrument.setup = read_setup(head);
  if (head.has("local")) instrument.local = read_command(head, "local");
  instrument.confirmations = read_confirmations(head);
  head.done();
}

/// The position of a query in the instrument, which is asked once for all of its channels.
std::size_t place_of(const std::string& text, Instrument& instrument) {
  auto& queries = instrument.queries;
  const auto known = std::find_if(queries.begin(), queries.end(), [&](const Query& query) { return upper(query.text) == upper(text); });
  if (known != queries.end()) return static_cast<std::size_t>(known - queries.begin());
  queries.push_back({text, 1});
  return queries.size() - 1;
}

using FieldPlaces = std::map<std::pair<std::size_t, std::size_t>, std::string>;

Channel read_channel(Table& table, Instrument& instrument, FieldPlaces& taken, std::map<std::size_t, std::size_t>& stated) {
  Channel channel;
  static_cast<ChannelRule&>(channel) = read_channel_head(table);
  channel.query = place_of(read_query(table, "query"), instrument);
  Query& query = instrument.queries[channel.query];
  const auto field = table.maybe_whole("field", {1.0, static_cast<double>(fields_max)});
  channel.field = static_cast<std::size_t>(field.value_or(1) - 1);
  query.fields = std::max(query.fields, channel.field + 1);
  if (const auto fields = table.maybe_whole("fields", {1.0, static_cast<double>(fields_max)})) {
    const auto [known, is_new] = stated.emplace(channel.query, static_cast<std::size_t>(*fields));
    if (!is_new && known->second != static_cast<std::size_t>(*fields)) table.mistake("fields", "`" + query.text + "` has " + std::to_string(known->second) + " fields at another channel");
    if (channel.field >= static_cast<std::size_t>(*fields)) table.mistake("field", "field " + std::to_string(channel.field + 1) + " of an answer with " + std::to_string(*fields));
  }
  read_channel_numbers(table, channel);
  const auto [other, is_new] = taken.emplace(std::pair{channel.query, channel.field}, channel.name);
  if (!is_new)
    table.mistake(field ? "field" : "query", "channel `" + other->second + "` reads the same field of the same answer",
                  "say which one with field = 2, as it is counted from 1, or ask another question");
  return channel;
}

Output read_output(Table& table, const Instrument& instrument) {
  Output output;
  output.name = read_name(table, "output", "output_1");
  output.on = read_command(table, "on");
  output.off = read_command(table, "off");
  output.ask = read_query(table, "ask");
  (void)table.maybe_text("note");
  if (!output.on.empty() && upper(output.on) == upper(output.off)) table.mistake("off", "`off` is the same as `on`", "as in on = \"OUTP ON\", off = \"OUTP OFF\"");
  for (const std::string& command : instrument.setup)
    if (!output.on.empty() && upper(command).find(upper(output.on)) != std::string::npos)
      table.mistake("on", "`setup` switches it on as well", "setup is sent at each opening: nobody would have asked for it then");
  return output;
}

}  // namespace

std::optional<std::string> read_terminator(Table& table) {
  auto terminator = table.maybe_text("terminator");
  if (!terminator || *terminator == "\n" || *terminator == "\r\n" || *terminator == "\r") return terminator;
  table.mistake("terminator", "not a terminator that is known here", R"(one of "\n", "\r\n", "\r")");
  return std::nullopt;
}

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  return read_instrument<Instrument>(text, file, "scpi", errors, [](Table& top, Table* head, Instrument& instrument) {
    if (head != nullptr) read_scpi_head(*head, instrument);
    auto channels = top.tables("channel");
    auto outputs = top.tables("output");
    top.done();
    check_counts(top, channels.size(), outputs.size(), true);
    FieldPlaces taken;
    std::map<std::size_t, std::size_t> stated;
    read_each(std::move(channels), "channel", instrument.channels, [&](Table& table) { return read_channel(table, instrument, taken, stated); });
    for (const auto& [query, fields] : stated) instrument.queries[query].fields = std::max(instrument.queries[query].fields, fields);
    if (instrument.queries.size() > queries_max) top.mistake("channel", std::to_string(instrument.queries.size()) + " queries are more than " + std::to_string(queries_max));
    read_each(std::move(outputs), "output", instrument.outputs, [&](Table& table) { return read_output(table, instrument); });
  });
}

}  // namespace steadyglow::drivers::scpi
