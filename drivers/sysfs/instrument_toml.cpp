#include "drivers/sysfs/instrument_toml.hpp"

#include <algorithm>
#include <array>
#include <string>
#include <utility>

#include "document/table.hpp"
#include "drivers/instrument_toml.hpp"

namespace steadyglow::drivers::sysfs {
namespace {

using document::Table;

constexpr std::size_t name_length_max = 64;

/// One file of the device's own folder: no way to anywhere else.
bool is_file_name(const std::string& name) { return !name.empty() && name.size() <= name_length_max && name.front() != '.' && name.find('/') == std::string::npos; }

void check_file(Table& table, Kind kind, const Channel& channel) {
  if (channel.file.empty()) return;
  if (!is_file_name(channel.file)) return table.mistake("file", "`" + channel.file + "` is no file of the device's own folder", "a plain name, as in temp1_input");
  const std::string_view prefix = file_prefix(kind, channel.quantity);
  if (!prefix.empty() && !channel.file.starts_with(prefix))
    table.mistake("file", "the kernel does not keep a " + std::string(to_word(channel.quantity)) + " in `" + channel.file + "`", "such a file begins with " + std::string(prefix));
}

Channel read_channel(Table& table, Kind kind) {
  Channel channel;
  static_cast<ChannelRule&>(channel) = read_channel_head(table);
  read_channel_numbers(table, channel);
  if (kind == Kind::w1) {
    if (channel.quantity != Quantity::temperature) table.mistake("quantity", "a 1-Wire thermometer measures a temperature");
    return channel;
  }
  channel.file = table.maybe_text("file").value_or("");
  if (kind == Kind::hwmon) channel.label = table.maybe_text("label").value_or("");
  check_file(table, kind, channel);
  if (channel.file.empty() == channel.label.empty())
    table.mistake("file", kind == Kind::hwmon ? "a channel is found by its `file` or by its `label`: one of the two" : "`file` is missing",
                  kind == Kind::hwmon ? "label = \"Board\", or file = \"temp1_input\"" : "file = \"in_voltage0_raw\"");
  if (!channel.label.empty() && file_prefix(kind, channel.quantity).empty())
    table.mistake("label", "a " + std::string(to_word(channel.quantity)) + " cannot be found by its label", "name its file");
  return channel;
}

}  // namespace

std::string_view file_prefix(Kind kind, Quantity quantity) {
  if (kind == Kind::w1) return {};
  const bool is_hwmon = kind == Kind::hwmon;
  switch (quantity) {
    case Quantity::voltage: return is_hwmon ? "in" : "in_voltage";
    case Quantity::temperature: return is_hwmon ? "temp" : "in_temp";
    case Quantity::current: return is_hwmon ? "curr" : "in_current";
    case Quantity::power: return is_hwmon ? "power" : "in_power";
    case Quantity::energy: return is_hwmon ? "energy" : "in_energy";
    case Quantity::speed: return is_hwmon ? "fan" : "in_anglvel";
    case Quantity::resistance: return is_hwmon ? "" : "in_resistance";
    case Quantity::frequency:
    case Quantity::ratio:
    case Quantity::state: break;
  }
  return {};
}

std::optional<Instrument> parse_instrument(std::string_view text, std::string_view file, Errors& errors) {
  return read_instrument<Instrument>(text, file, "sysfs", errors, [](Table& top, Table* head, Instrument& instrument) {
    if (head == nullptr) return;
    constexpr std::array<std::string_view, 3> kinds{"w1", "hwmon", "iio"};
    const std::string kind = head->word("kind", {kinds.begin(), kinds.end()});
    head->done();
    if (kind.empty()) return;
    instrument.kind = static_cast<Kind>(std::find(kinds.begin(), kinds.end(), kind) - kinds.begin());
    auto channels = top.tables("channel");
    top.done();
    check_counts(top, channels.size(), 0, false);
    if (instrument.kind == Kind::w1 && channels.size() > 1) top.mistake("channel", "a 1-Wire thermometer has one channel", "each thermometer is a meter of its own, with its rom");
    read_each(std::move(channels), "channel", instrument.channels, [&](Table& table) { return read_channel(table, instrument.kind); });
  });
}

}  // namespace steadyglow::drivers::sysfs
