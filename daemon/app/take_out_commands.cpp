#include <fmt/format.h>
#include <unistd.h>

#include <CLI/App.hpp>
#include <CLI/Option.hpp>
#include <memory>
#include <string>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/import_run.hpp"
#include "app/more_commands.hpp"
#include "app/store_folder.hpp"

namespace steadyglow::app {
namespace {

/// On a terminal only; a log does not want it.
store::Progress progress_line() {
  if (isatty(STDERR_FILENO) != 1) return {};
  return [](const char* what, double share) { fmt::print(stderr, "\r{:<10} {:3.0f} %", what, 100.0 * share); };
}

void end_progress_line() {
  if (isatty(STDERR_FILENO) == 1) fmt::print(stderr, "\r{:<20}\r", "");
}

int print_doubts(const FolderReport& report) {
  for (const std::string& doubt : report.doubts) fmt::print(stderr, "note: {}\n", doubt);
  return report.doubts.empty() ? exit_good : exit_not_good;
}

std::string in_words(const FolderReport& report) {
  const store::StoreCheck& check = report.check;
  return fmt::format("{} runs ({} going on), {} batches of readings, {} inputs, {} events, {} rows of the journal; {} photos; {:.1f} MB", check.runs, check.running, check.batches, check.inputs,
                     check.events, check.journal, report.photos, static_cast<double>(report.store_bytes) / 1e6);
}

int print_backup(BackupOptions options) {
  options.progress = progress_line();
  const auto made = back_up(options);
  end_progress_line();
  if (!made) return say(made.error());
  fmt::print("{}: checked, {}\n", options.out, in_words(*made));
  fmt::print("not in it: configuration, profiles and plans; passwords{}\n", made->has_key ? "" : "; the key that signs records (--with-key)");
  if (made->has_key) fmt::print("the key that signs records is in it: whoever has this folder can sign as this shop\n");
  return print_doubts(*made);
}

int print_restore(const std::string& folder, const std::string& store) {
  const auto made = restore(folder, store, progress_line());
  end_progress_line();
  if (!made) return say(made.error());
  fmt::print("{}: in place and checked, {}\n", store, in_words(*made));
  if (made->check.running > 0) fmt::print("{} runs were going on: the daemon takes them up as after a power cut, with the unit off\n", made->check.running);
  if (!made->has_key) fmt::print("the key that signs records is as it was here; without one, the next record is signed with a new key\n");
  return print_doubts(*made);
}

int print_import(ImportOptions options) {
  if (const auto line = progress_line()) options.progress = [line](double share) { line("readings", share); };
  Errors errors;
  const auto made = import_run(options, errors);
  end_progress_line();
  if (!made) {
    for (const Error& error : errors) say(error);
    fmt::print(stderr, "nothing was brought in\n");
    return exit_code(errors.front().fault);
  }
  for (const std::string& name : made->missing) fmt::print(stderr, "{}: note: point `{}` of the profile has no column and is not judged\n", options.file, name);
  fmt::print("run {}: {} rows, {} readings{}, {:.1f} h, brought in from {} (SHA-256 {})\n", made->run, made->rows, made->readings, made->acts > 0 ? fmt::format(", {} acts", made->acts) : "",
             hours_of(made->length), options.file, made->sha256);
  fmt::print("verdict proposed by the engine: {}\n", made->verdict);
  for (const std::string& reason : made->reasons) fmt::print("  {}\n", reason);
  fmt::print("it is marked as brought in: it was not watched by this program\n");
  return exit_good;
}

}  // namespace

void add_take_out_commands(CLI::App& app, int& result) {
  struct Words {
    BackupOptions backup;
    std::string folder, store;
    ImportOptions import;
  };
  auto words = std::make_shared<Words>();

  auto* backup = app.add_subcommand("backup", "copy the whole store and its photos into a folder, while the daemon runs");
  backup->add_option("store", words->backup.store, "the daemon's store file")->required();
  backup->add_option("out", words->backup.out, "a folder that is not there yet")->required();
  backup->add_flag("--with-key", words->backup.has_key, "with the key that signs records: keep that folder as safe as the key");
  backup->callback([words, &result] { result = print_backup(words->backup); });

  auto* restore = app.add_subcommand("restore", "check a backup and put it in place of a store that is not there");
  restore->add_option("backup", words->folder, "the folder that backup made")->required();
  restore->add_option("store", words->store, "the store file to make")->required();
  restore->callback([words, &result] { result = print_restore(words->folder, words->store); });

  auto* import = app.add_subcommand("import", "bring an old log in as a run: CSV as replay reads it, or what export wrote as JSON Lines");
  import->add_option("store", words->import.store, "the store file; its daemon must not run")->required();
  import->add_option("file", words->import.file, "the log")->required();
  import->add_option("--profile", words->import.profile, "profile file: what the columns are and what is normal");
  import->add_option("--plan", words->import.plan, "plan file: which hours count");
  import->add_option("--unit", words->import.unit, "name of the unit: a-z, 0-9, - and _");
  import->add_option("--title", words->import.title, "maker and model as plated");
  import->add_option("--serial", words->import.serial, "serial number");
  import->add_option("--who", words->import.who, "who brings it in")->required();
  import->add_option("--began", words->import.began, "when the log began (RFC 3339), if it does not say so itself");
  import->add_flag("--new-store", words->import.may_begin_store, "begin a store where there is none");
  import->callback([words, &result] { result = print_import(words->import); });
}

}  // namespace steadyglow::app
