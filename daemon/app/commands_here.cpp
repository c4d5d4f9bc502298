#include <fmt/format.h>
#include <fmt/os.h>
#include <sodium.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>

#include "app/bench_clock.hpp"
#include "app/check_points.hpp"
#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/replay.hpp"
#include "app/settings.hpp"
#include "app/text_file.hpp"
#include "profile/profile_toml.hpp"
#include "soak/finding_json.hpp"
#include "soak/verdict.hpp"
#include "store/export.hpp"
#include "store/reader.hpp"

namespace steadyglow::app {
namespace {

constexpr std::size_t date_length = 10;  // of an RFC 3339 label

Result<profile::Profile> load_profile(const std::string& file, Errors& errors) {
  const auto text = read_text_file(file);
  if (!text) return tl::unexpected(text.error());
  auto profile = profile::parse_profile(*text, file, errors);
  if (!profile) return tl::unexpected(errors.front());
  return std::move(*profile);
}

Result<profile::Plan> load_plan(const std::string& file, Errors& errors) {
  if (file.empty()) return profile::plan_without_file();
  const auto text = read_text_file(file);
  if (!text) return tl::unexpected(text.error());
  auto plan = profile::parse_plan(*text, file, errors);
  if (!plan) return tl::unexpected(errors.front());
  return std::move(*plan);
}

std::string clock_text(Timestamp at) {
  const auto seconds = ms_of(at) / 1000;
  return fmt::format("{:3}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60);
}

std::string line_of(const soak::Event& event) {
  if (const auto* finding = std::get_if<soak::Finding>(&event))
    return fmt::format("{}  {:<5} {:<12} {}{}", clock_text(finding->at), to_word(finding->severity), to_word(finding->kind), finding->is_raised ? "" : "(over) ", finding->message);
  if (const auto* order = std::get_if<soak::OpenOutlet>(&event)) return fmt::format("{}  ORDER outlet off: {}", clock_text(order->at), order->reason);
  if (const auto* stage = std::get_if<soak::StageChange>(&event)) return fmt::format("{}  stage {}", clock_text(stage->at), stage->text);
  return {};
}

}  // namespace

int say(const Error& error) {
  fmt::print(stderr, "{}\n", error.text());
  return exit_code(error.fault);
}

int say(const Errors& errors) {
  for (const Error& error : errors) say(error);
  if (errors.size() > 1) fmt::print(stderr, "{} mistakes\n", errors.size());
  return exit_config;
}

int check(const CheckOptions& options) {
  Errors errors;
  if (!options.profile.empty()) {
    const auto profile = load_profile(options.profile, errors);
    if (!profile && errors.empty()) errors.push_back(profile.error());
    else if (profile) fmt::print("{}: {} points, good\n", options.profile, profile->points.size());
  }
  if (!options.plan.empty()) {
    Errors found;
    const auto plan = load_plan(options.plan, found);
    if (!plan && found.empty()) found.push_back(plan.error());
    errors.insert(errors.end(), found.begin(), found.end());
    if (plan) fmt::print("{}: {} stages, {:.1f} h counted, good\n", options.plan, plan->stages.size(), hours_of(plan->counted_planned()));
  }
  if (!options.config.empty()) {
    Errors found;
    const auto settings = load_settings(options.config, found);
    errors.insert(errors.end(), found.begin(), found.end());
    if (settings) {
      for (const std::string& line : chain_lines(*settings, utc_label(utc_now_ms()).substr(0, date_length))) fmt::print("{}\n", line);
      fmt::print("{}: {} buses, {} units, good\n", options.config, settings->buses.size(), settings->units.size());
    }
  }
  return errors.empty() ? exit_good : say(errors);
}

int replay_recording(const ReplayOptions& options) {
  Errors errors;
  auto profile = load_profile(options.profile, errors);
  if (!profile) return errors.empty() ? say(profile.error()) : say(errors);
  auto plan = load_plan(options.plan, errors);
  if (!plan) return errors.empty() ? say(plan.error()) : say(errors);
  std::ifstream csv(options.csv, std::ios::binary);
  if (!csv) return say({Fault::bad_data, "cannot be read", "check the path", options.csv});
  std::ofstream events_file;
  if (!options.events.empty() && options.events != "-") {
    events_file.open(options.events);
    if (!events_file) return say({Fault::cannot_create, "cannot be written", "check the folder and its permissions", options.events});
  }
  const bool is_json = options.is_json || options.events == "-";

  RecordingReader recording(csv, options.csv, *profile);
  std::vector<std::string> missing;
  if (const auto header = recording.read_header(missing); !header) return say(header.error());
  for (const std::string& name : missing) fmt::print(stderr, "{}: note: point `{}` of the profile has no column and is not judged\n", options.csv, name);

  soak::Engine engine(*profile, *plan);
  bool has_loud = false;
  const auto hear = [&](const soak::Event& event) {
    if (const auto* finding = std::get_if<soak::Finding>(&event)) {
      has_loud |= finding->is_raised && finding->severity != soak::Severity::note;
      const std::string json = soak::to_json(*finding, *profile).dump();
      if (events_file.is_open()) events_file << json << '\n';
      if (is_json) std::cout << json << '\n';
    }
    if (is_json) return;
    if (const std::string line = line_of(event); !line.empty()) std::cout << line << '\n';
  };
  const auto summary = replay(recording, engine, hear);
  if (!summary) return say(summary.error());
  const soak::Verdict verdict = engine.verdict() ? *engine.verdict() : soak::weigh(engine.stages(), engine.book(), engine.points(), false, engine.now());
  const std::string text = fmt::format("{:.1f} h, {} rows, {} readings ({} bad), {} rows out of order; verdict proposed: {}", hours_of(summary->length), summary->rows,
                                       summary->readings, summary->bad_readings, summary->out_of_order, soak::to_word(verdict.word));
  fmt::print(is_json ? stderr : stdout, "{}\n", text);
  std::cout.flush();
  events_file.close();
  if (!std::cout || (!options.events.empty() && options.events != "-" && events_file.fail())) return say({Fault::io, "the output could not be written", "is the disk full?", options.events});
  return has_loud || verdict.word == soak::VerdictWord::fail ? exit_not_good : exit_good;
}

int make_password(const std::string& file) {
  if (sodium_init() < 0) return say({Fault::io, "the cryptography library does not start", "", ""});
  const auto ask = [](const char* prompt) {
    std::string line;
    const bool is_terminal = isatty(STDIN_FILENO) == 1;
    termios before{};
    if (is_terminal) {
      fmt::print(stderr, "{}", prompt);
      tcgetattr(STDIN_FILENO, &before);
      termios silent = before;
      silent.c_lflag &= ~static_cast<tcflag_t>(ECHO);
      tcsetattr(STDIN_FILENO, TCSANOW, &silent);
    }
    std::getline(std::cin, line);
    if (is_terminal) {
      tcsetattr(STDIN_FILENO, TCSANOW, &before);
      fmt::print(stderr, "\n");
    }
    return line;
  };
  constexpr std::size_t password_length_min = 8;
  const std::string password = ask("New password: ");
  if (password.size() < password_length_min) return say({Fault::usage, fmt::format("the password has fewer than {} characters", password_length_min), "take a sentence", ""});
  if (isatty(STDIN_FILENO) == 1 && ask("Once more: ") != password) return say({Fault::usage, "the two are not the same", "", ""});
  std::string hash(crypto_pwhash_STRBYTES, '\0');
  if (crypto_pwhash_str(hash.data(), password.data(), password.size(), crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE) != 0)
    return say({Fault::io, "there is not enough memory to hash a password", "", ""});
  umask(0077);
  std::ofstream out(file);
  out << hash.c_str() << '\n';
  out.close();
  if (!out) return say({Fault::cannot_create, "cannot be written", "check the folder and its permissions", file});
  fmt::print("{} written; name it as password_file under [daemon]\n", file);
  return exit_good;
}

int export_readings(const std::string& store_file, std::int64_t run, const std::string& file, const std::string& format) {
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return say(reader.error());
  std::ofstream out(file, std::ios::binary);
  if (!out) return say({Fault::cannot_create, "cannot be written", "check the folder and its permissions", file});
  const auto written = format == "jsonl" ? store::write_json_lines(**reader, run, out) : store::write_csv(**reader, run, out);
  if (!written) return say(written.error());
  out.close();
  if (!out) return say({Fault::io, "the file could not be written to its end", "is the disk full?", file});
  if (written->damaged_rows == 0) return exit_good;
  for (const std::string& told : (*reader)->damage().told) fmt::print(stderr, "{}: {}\n", store_file, told);
  fmt::print(stderr, "{}: {} damaged rows are left out\n", store_file, written->damaged_rows);
  return exit_not_good;
}

}  // namespace steadyglow::app
