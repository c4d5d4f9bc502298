#include "app/starter_commands.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <vector>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/starter.hpp"
#include "app/text_file.hpp"
#include "drivers/modbus/link.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

struct StarterWords {
  std::string folder;
  std::string bus;
  std::string tcp, serial, parity = "none", rts = "none", channels;
  int baud = 9600;
  int stop_bits = 1;
  bool echo = false;
  double timeout_seconds = 0.5;
  int address = 1;
  std::vector<std::string> instruments;
  std::string instrument_folder;
  std::string listen = "127.0.0.1:8460";
};

constexpr const char* how_to_begin =
    "1. steadyglow devices\n     the names of this machine's ports\n"
    "2. steadyglow scan --tcp ADDRESS        (or --serial PORT)\n     which Modbus address answers\n"
    "3. steadyglow scan --tcp ADDRESS --address N --expect FIGURE\n     FIGURE is what the module's display or your own meter shows; copy the [[channel]] lines that are right into channels.toml\n"
    "4. steadyglow new-bench bench --tcp ADDRESS --address N --channels channels.toml\n"
    "For an instrument that speaks SCPI: steadyglow probe --tcp ADDRESS, copy its [[bus]] into bus.toml, then\n"
    "   steadyglow new-bench bench --bus bus.toml --instruments FOLDER\n";

Result<std::string> place_lines(const StarterWords& words) {
  if (!words.serial.empty())
    return fmt::format("driver = \"modbus_rtu\"\ndevice = {}\nbaud = {}\nparity = \"{}\"\n{}{}{}", drivers::toml_text(words.serial), words.baud, words.parity, words.stop_bits == 1 ? "" : fmt::format("stop_bits = {}\n", words.stop_bits),
                       words.rts == "none" ? "" : fmt::format("rts = \"{}\"\n", words.rts), words.echo ? "echo = true\n" : "");
  const auto end = drivers::tcp_end_of(words.tcp, drivers::modbus::modbus_port);
  if (!end) return tl::unexpected(end.error());
  return fmt::format("driver = \"modbus_tcp\"\nhost = \"{}\"\nport = {}\n", end->host, end->port);
}

/// Never over a file that is there: what a person wrote stays.
Result<void> write_new(const fs::path& file, const std::string& text) {
  std::error_code error;
  fs::create_directories(file.parent_path(), error);
  if (fs::exists(file, error)) return fail(Fault::cannot_create, "it is there already", "take another folder, or add the new lines to it by hand", file.string());
  std::ofstream out(file, std::ios::binary);
  out << text;
  out.close();
  if (!out) return fail(Fault::cannot_create, "cannot be written", "check the folder and its permissions", file.string());
  return {};
}

int new_bench(const StarterWords& words) {
  StarterParts parts;
  if (words.bus.empty()) {
    if (words.channels.empty() || (words.tcp.empty() && words.serial.empty())) {
      fmt::print(stderr, "From an unknown module to its values on the page:\n{}\n", how_to_begin);
      return say({Fault::usage, "nothing is said of a meter", "--tcp or --serial with --channels, or --bus", ""});
    }
    auto channels = read_text_file(words.channels);
    if (!channels) return say(channels.error());
    const auto place = place_lines(words);
    if (!place) return say(place.error());
    parts = parts_of({*place, words.address, words.channels, std::move(*channels), words.timeout_seconds});
  } else {
    auto bus = read_text_file(words.bus);
    if (!bus) return say(bus.error());
    parts.bus_file = words.bus;
    parts.bus_text = std::move(*bus);
  }
  parts.instrument_folder = words.instrument_folder;
  parts.listen = words.listen;
  for (const std::string& file : words.instruments) {
    auto text = read_text_file(file);
    if (!text) return say(text.error());
    parts.instruments.push_back({fs::path(file).stem().string(), {file, std::move(*text)}});
  }
  Errors errors;
  const auto files = starter_files(parts, errors);
  if (!errors.empty()) return say(errors);
  const fs::path folder(words.folder);
  std::error_code error;
  for (const StarterFile& file : files)
    if (fs::exists(folder / file.name, error)) return say({Fault::cannot_create, "it is there already", "take another folder, or add the new lines to it by hand", (folder / file.name).string()});
  for (const StarterFile& file : files) {
    if (auto written = write_new(folder / file.name, file.text); !written) return say(written.error());
    fmt::print("{}\n", (folder / file.name).string());
  }
  const std::string config = (folder / starter_config).string();
  fmt::print("\nnext:\n  steadyglow check {0}\n  steadyglow probe {0}\n  steadyglowd --config {0}\nthen open http://{1}/#/unit/new-unit in a browser of this machine.\n"
             "Nothing is watched or switched yet: the points have no limits. SAFETY.md comes before the first clip.\n", config, words.listen);
  return exit_good;
}

}  // namespace

void add_starter_commands(CLI::App& app, int& result) {
  auto words = std::make_shared<StarterWords>();
  auto* command = app.add_subcommand("new-bench", "write a first configuration round a meter that scan or probe found: every channel a point, no limits, nothing switched");
  command->footer(std::string("From an unknown module to its values on the page:\n") + how_to_begin);
  command->add_option("folder", words->folder, "where it is written; nothing there is overwritten")->required();
  auto* tcp = command->add_option("--tcp", words->tcp, "a Modbus module's IPv4 address, with :port if it is not 502");
  auto* serial = command->add_option("--serial", words->serial, "or the serial port that it hangs on, by a name that stays")->excludes(tcp);
  command->add_option("--baud", words->baud, "of the serial line")->capture_default_str();
  command->add_option("--parity", words->parity, "of the serial line")->check(CLI::IsMember({"none", "even", "odd"}))->capture_default_str();
  command->add_option("--stop-bits", words->stop_bits, "of the serial line")->check(CLI::Range(1, 2))->capture_default_str();
  command->add_option("--rts", words->rts, "when RTS turns the adapter to sending")->check(CLI::IsMember({"none", "before", "after"}))->capture_default_str();
  command->add_flag("--echo", words->echo, "the adapter hears itself");
  command->add_option("--timeout", words->timeout_seconds, "seconds for one whole answer")->check(CLI::Range(drivers::timeout_seconds_least, drivers::timeout_seconds_most))->capture_default_str();
  command->add_option("--address", words->address, "its Modbus address")->check(CLI::Range(0, 255))->capture_default_str();
  command->add_option("--channels", words->channels, "file with its [[channel]] lines, as scan printed them");
  command->add_option("--bus", words->bus, "in place of these: file with a [[bus]] as probe or the page printed it")->excludes(tcp)->excludes(serial);
  command->add_option("--instrument", words->instruments, "an instrument file as it was printed; the meter names it without .toml");
  command->add_option("--instruments", words->instrument_folder, "where the bus's other instrument files are");
  command->add_option("--listen", words->listen, "where the page is shown")->capture_default_str();
  command->callback([words, &result] { result = new_bench(*words); });
}

}  // namespace steadyglow::app
