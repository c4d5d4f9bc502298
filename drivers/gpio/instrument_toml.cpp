#include "drivers/gpio/instrument_toml.hpp"

#include <map>
#include <string>

#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers::gpio {
namespace {

using document::Table;

Line read_line(Table& table, std::string_view what, std::string_view example) {
  Line line;
  line.name = read_name(table, what, example);
  line.number = static_cast<unsigned>(table.whole("line", {0.0, line_most}));
  line.is_active_low = table.maybe_flag("active_low").value_or(false);
  (void)table.maybe_text("note");
  return line;
}

Line read_input(Table& table) {
  Line line = read_line(table, "channel", "smoke");
  (void)table.word("quantity", {"state"});
  (void)table.word("uom", {"1"});
  // Nobody may leave it open: a line that floats says anything.
  const std::string bias = table.word("bias", {"pull_up", "pull_down", "none"});
  line.bias = bias == "pull_up" ? Bias::pull_up : bias == "pull_down" ? Bias::pull_down : Bias::none;
  return line;
}

}  // namespace

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  const std::size_t errors_before = errors.size();
  const document::Node root = document::parse(text, file, errors);
  if (errors.size() > errors_before) return std::nullopt;
  Table top(root, file, errors);
  Instrument instrument;
  Head head = read_head(top, "gpio", instrument.title);
  if (head.is_for_another) return std::nullopt;
  if (head.table) head.table->done();
  auto inputs = top.tables("channel");
  auto outputs = top.tables("output");
  top.done();
  check_counts(top, inputs.size(), outputs.size(), true);
  std::map<std::string, document::Place> input_names, output_names;
  for (Table& table : inputs) {
    instrument.inputs.push_back(read_input(table));
    check_twice(table, "channel", instrument.inputs.back().name, input_names);
    table.done();
  }
  for (Table& table : outputs) {
    instrument.outputs.push_back(read_line(table, "output", "relay_1"));
    check_twice(table, "output", instrument.outputs.back().name, output_names);
    table.done();
  }
  if (errors.size() > errors_before) return std::nullopt;
  return instrument;
}

}  // namespace steadyglow::drivers::gpio
