#include "app/starter_commands.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Option.hpp>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <vector>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/starter.hpp"
#include "app/text_file.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

struct StarterWords {
  std::string folder;
  std::string bus;
  std::vector<std::string> instruments;
  std::string instrument_folder;
  std::string listen = "127.0.0.1:8460";
};

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
  parts.bus_file = words.bus;
  parts.instrument_folder = words.instrument_folder;
  parts.listen = words.listen;
  auto bus = read_text_file(words.bus);
  if (!bus) return say(bus.error());
  parts.bus_text = std::move(*bus);
  for (const std::string& file : words.instruments) {
    auto text = read_text_file(file);
    if (!text) return say(text.error());
    parts.instruments.push_back({file, std::move(*text)});
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
  auto* command = app.add_subcommand("new-bench", "write a first configuration round a bus that scan or probe printed: every channel a point, no limits, nothing switched");
  command->add_option("folder", words->folder, "where it is written; nothing there is overwritten")->required();
  command->add_option("--bus", words->bus, "file with the [[bus]] as it was printed")->required();
  command->add_option("--instrument", words->instruments, "an instrument file as it was printed; the meter names it without .toml");
  command->add_option("--instruments", words->instrument_folder, "where the bus's other instrument files are");
  command->add_option("--listen", words->listen, "where the page is shown")->capture_default_str();
  command->callback([words, &result] { result = new_bench(*words); });
}

}  // namespace steadyglow::app
