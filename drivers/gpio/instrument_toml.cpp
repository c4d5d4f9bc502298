#include "drivers/gpio/instrument_toml.hpp"

#include <string>
#include <utility>

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
  return read_instrument<Instrument>(text, file, "gpio", errors, [](Table& top, Table* head, Instrument& instrument) {
    if (head != nullptr) head->done();
    auto inputs = top.tables("channel");
    auto outputs = top.tables("output");
    top.done();
    check_counts(top, inputs.size(), outputs.size(), true);
    read_each(std::move(inputs), "channel", instrument.inputs, read_input);
    read_each(std::move(outputs), "output", instrument.outputs, [](Table& table) { return read_line(table, "output", "relay_1"); });
  });
}

}  // namespace steadyglow::drivers::gpio
