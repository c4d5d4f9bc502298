#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Option.hpp>
#include <iostream>
#include <memory>
#include <string>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/found_devices.hpp"
#include "app/found_devices_json.hpp"
#include "app/more_commands.hpp"
#include "app/starter_commands.hpp"
#include "app/text_file.hpp"

namespace steadyglow::app {
namespace {

struct DeviceWords {
  std::string config;
  std::string root = "/";
  bool is_json = false;
};

/// Every line of a text behind some blanks.
std::string indented(const std::string& text) {
  std::string lines;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    lines += "      " + text.substr(at, end - at) + "\n";
    at = end + 1;
  }
  return lines;
}

void print_device(const FoundDevice& device) {
  fmt::print("{:<9} {}\n", device.kind, device.stays.empty() ? device.moves : device.stays);
  if (!device.title.empty()) fmt::print("    it is    {}{}\n", device.title, device.serial.empty() || device.serial == device.stays ? "" : ", serial " + device.serial);
  if (!device.moves.empty() && device.moves != device.stays) fmt::print("    now at   {} (this number moves)\n", device.moves);
  for (const std::string& name : device.names)
    if (name != device.stays) fmt::print("    also     {}\n", name);
  for (const FoundChannel& channel : device.channels) fmt::print("    reads    {}{}\n", channel.file, channel.label.empty() ? "" : " (" + channel.label + ")");
  if (!device.named_at.empty()) fmt::print("    named at {}\n", device.named_at);
  if (!device.caution.empty()) fmt::print("    caution  {}\n", device.caution);
  if (device.named_at.empty() && !device.line.empty()) fmt::print("    to copy:\n{}", indented(device.line));
}

int devices(const DeviceWords& words) {
  FoundDevices found = find_devices(words.root);
  if (!words.config.empty()) {
    const auto text = read_text_file(words.config);
    if (!text) return say(text.error());
    Errors errors;
    const document::Node configuration = document::parse(*text, words.config, errors);
    if (!errors.empty()) return say(errors);
    note_configured(found, configuration, words.config, words.root);
  }
  if (words.is_json) {
    std::cout << to_json(found).dump(2) << '\n';
  } else {
    for (const FoundDevice& device : found.devices) print_device(device);
    if (found.devices.empty()) fmt::print("no serial port, USB instrument, 1-Wire device, sensor chip or GPIO chip is here. Meters by network: steadyglow scan --tcp ADDRESS\n");
    for (const std::string& warning : found.warnings) fmt::print("! {}\n", warning);
  }
  return found.warnings.empty() ? exit_good : exit_not_good;
}

}  // namespace

void add_devices_commands(CLI::App& app, int& result) {
  auto words = std::make_shared<DeviceWords>();
  auto* command = app.add_subcommand("devices", "ports, instruments and sensors of this machine by the names that stay; opens none of them; exit 1 when it warns");
  command->add_option("--config", words->config, "also say which of them this configuration names");
  command->add_option("--root", words->root, "look below this folder in place of /: for a tree that was copied from another machine")->capture_default_str();
  command->add_flag("--json", words->is_json, "as JSON");
  command->callback([words, &result] { result = devices(*words); });
  add_starter_commands(app, result);
}

}  // namespace steadyglow::app
