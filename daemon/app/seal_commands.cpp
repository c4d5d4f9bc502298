#include <fmt/format.h>
#include <unistd.h>

#include <CLI/App.hpp>
#include <CLI/Option.hpp>
#include <memory>
#include <vector>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/more_commands.hpp"
#include "app/run_pages.hpp"
#include "seal/scratch_file.hpp"
#include "seal/seal.hpp"

namespace steadyglow::app {
namespace {

int seal_run(seal::SealOptions options) {
  // The key first: the pages show its fingerprint.
  if (const auto key = seal::SigningKey::of_store(options.store); !key) return say(key.error());
  const auto pages = pages_of_run(options.store, options.run);
  if (!pages) return say(pages.error());
  auto files = record_pages(**pages);
  if (!files) return say(files.error());
  options.pages = std::move(*files);
  const auto sealed = seal::make(options);
  if (!sealed) return say(sealed.error());
  fmt::print("{} sealed\ncode of the data   {}\nsigned by the key  {}\n", options.out, sealed->code, sealed->key_fingerprint);
  if (sealed->damaged_rows == 0) return exit_good;
  fmt::print("{} damaged rows of the store were left out, and the record says so\n", sealed->damaged_rows);
  return exit_not_good;
}

int print_key(const std::string& store_file) {
  const auto key = seal::SigningKey::of_store(store_file);
  if (!key) return say(key.error());
  fmt::print("{}\n", key->public_key().fingerprint());
  return exit_good;
}

int print_code(const std::string& store_file, std::int64_t run) {
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return say(reader.error());
  const auto data = seal::gather(**reader, run);
  if (!data) return say(data.error());
  fmt::print("{}\n", data->manifest.code);
  return exit_good;
}

/// A fingerprint as typed, or that of a public key in a file.
Result<std::string> fingerprint_of(const std::string& key) {
  if (key.empty()) return key;
  if (std::string typed = seal::as_fingerprint(key); !typed.empty()) return typed;
  const auto pem = seal::read_plain_file(key, seal::manifest_bytes_max);
  if (!pem) return fail(Fault::usage, fmt::format("`{}` is neither a fingerprint nor a file that can be read", key), fmt::format("a fingerprint has {} hexadecimal digits", seal::fingerprint_digits));
  const auto read = seal::public_key_from_pem(*pem);
  if (!read) return fail(Fault::usage, read.error().message, read.error().hint, key);
  return read->fingerprint();
}

void print_report(const seal::Report& report, bool has_named_key) {
  const seal::Manifest& m = report.manifest;
  if (m.run > 0) {
    fmt::print("run {} of {}{}, {} to {}\n", m.run, m.title, m.serial.empty() ? "" : ", serial number " + m.serial, m.started_utc, m.ended_utc);
    fmt::print("verdict proposed: {}; {}\n", m.verdict.empty() ? "none" : m.verdict, m.signed_word.empty() ? "not signed by a person" : fmt::format("{} signed: {}", m.signed_by, m.signed_word));
    fmt::print("format {}, program {}, engine {}; code of the data {}\n", m.format, m.program_version, m.engine_version, m.code);
  }
  if (!report.signed_by.empty())
    fmt::print("signature good, key {}{}\n", report.signed_by, has_named_key ? "" : "; is this the shop's? compare it with what the shop told you another way");
  if (report.was_retold) fmt::print("told again: {} readings, {} events\n", report.readings, report.events);
  for (const std::string& remark : report.remarks) fmt::print("note: {}\n", remark);
  for (const std::string& difference : report.differences) fmt::print("DIFFERS: {}\n", difference);
}

int verify(const std::string& record, const std::string& key) {
  const auto fingerprint = fingerprint_of(key);
  if (!fingerprint) return say(fingerprint.error());
  seal::CheckOptions options;
  options.fingerprint = *fingerprint;
  const bool is_terminal = isatty(STDERR_FILENO) == 1;
  if (is_terminal) options.progress = [](std::string_view step, double share) { fmt::print(stderr, "\r{:<10} {:3.0f} %", step, 100.0 * share); };
  const auto report = seal::check(record, options);
  if (is_terminal) fmt::print(stderr, "\r{:<20}\r", "");
  if (!report) return say(report.error());
  print_report(*report, !fingerprint->empty());
  if (report->is_good()) {
    fmt::print("{}\n", report->is_another_engine ? "the record is as it was sealed" : "the record is as it was sealed, and the engine says the same of its readings");
    return exit_good;
  }
  fmt::print("{} difference{}{}\n", report->differences.size(), report->differences.size() == 1 ? "" : "s", report->was_retold ? "" : "; the engine was not asked, because these are not the sealed readings");
  return exit_not_good;
}

}  // namespace

void add_seal_commands(CLI::App& app, int& result) {
  struct Words {
    seal::SealOptions seal;
    std::string record, key;
  };
  auto words = std::make_shared<Words>();

  auto* seal_command = app.add_subcommand("seal", "put a run that is over into one signed record: pages, readings, events");
  seal_command->add_option("store", words->seal.store, "the daemon's store file")->required();
  seal_command->add_option("run", words->seal.run, "number of the run")->required();
  seal_command->add_option("out", words->seal.out, "what to write: NAME.zip, or a folder")->required();
  seal_command->callback([words, &result] { result = seal_run(words->seal); });

  auto* key_command = app.add_subcommand("seal-key", "the fingerprint of the key that signs this shop's records; the first use makes the key");
  key_command->add_option("store", words->seal.store, "the daemon's store file")->required();
  key_command->callback([words, &result] { result = print_key(words->seal.store); });

  auto* code_command = app.add_subcommand("seal-code", "the short code of a run's data, for its page");
  code_command->add_option("store", words->seal.store, "the daemon's store file")->required();
  code_command->add_option("run", words->seal.run, "number of the run")->required();
  code_command->callback([words, &result] { result = print_code(words->seal.store, words->seal.run); });

  auto* verify_command = app.add_subcommand("verify", "is a record as it was sealed, and does the engine say the same of its readings? exit 1: no");
  verify_command->add_option("record", words->record, "the folder or the zip")->required();
  verify_command->add_option("--key", words->key, "the shop's fingerprint, or a file with its public key: it must be this one that signed");
  verify_command->callback([words, &result] { result = verify(words->record, words->key); });
}

}  // namespace steadyglow::app
