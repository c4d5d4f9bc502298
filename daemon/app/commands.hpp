#pragma once
/// The person's command line, one function per command. Each returns an exit code (see exit_code.hpp).
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::app {

/// Prints an error to stderr and returns its exit code.
int say(const Error& error);
int say(const Errors& errors);

// ---- here: no daemon needed ----

struct CheckOptions {
  std::string config;
  std::string profile;
  std::string plan;
};
/// Reads files as the daemon would and lists every mistake.
int check(const CheckOptions& options);

struct ReplayOptions {
  std::string profile;
  std::string plan;
  std::string csv;
  std::string events;  ///< file for JSON Lines, or "-"
  bool is_json = false;
};
/// Runs a recording through the engine and prints what it would have said.
int replay_recording(const ReplayOptions& options);

/// Asks for a password twice on the terminal (or reads one line of a pipe) and writes its argon2id hash to a new file.
int make_password(const std::string& file);

/// Writes the readings of a run as CSV, as `replay` reads it, or ("jsonl") all that was stored of it as JSON Lines.
int export_readings(const std::string& store_file, std::int64_t run, const std::string& file, const std::string& format);

// ---- at the bench: talks to the running daemon ----

struct BenchAddress {
  std::string host = "127.0.0.1";
  std::uint16_t port = 8460;
  std::string password_file;
};

int status(const BenchAddress& bench, bool is_json);
int acknowledge(const BenchAddress& bench, std::int64_t alarm, const std::string& who, const std::string& note);
int start(const BenchAddress& bench, const std::string& unit, const std::string& who, bool is_at_the_bench);
int stop(const BenchAddress& bench, const std::string& unit, const std::string& who, const std::string& why);

/// What somebody did to a run; empty fields are not sent.
struct ActWords {
  std::string kind, who, why, control, bench, word;
  std::optional<std::int64_t> alarm;
  std::optional<double> minutes, before, after;
  std::vector<std::string> points;
};
int act(const BenchAddress& daemon, const std::string& unit, const ActWords& words);

struct PolicyWords {
  std::string who;
  std::optional<double> back_in_minutes;
  bool is_staged = false;
  bool cuts_on_forecast = true;
  bool is_cut_when_stuck = false;
  bool wakes_for_forecast = false;
};
int leave(const BenchAddress& daemon, const std::string& unit, const PolicyWords& words);
int ready(const BenchAddress& daemon, const std::string& unit, const std::string& who);
int enter_fact(const BenchAddress& daemon, const std::string& unit, const std::string& kind, const std::string& text, const std::string& who);
int unit_repaired(const BenchAddress& daemon, const std::string& unit, const std::string& who, const std::string& note);

int rehearse(const BenchAddress& daemon, const std::string& bench, const std::string& unit, const std::string& who);
int cut_bench(const BenchAddress& daemon, const std::string& bench, const std::string& who, const std::string& why);
int close_bench(const BenchAddress& daemon, const std::string& bench, const std::string& who, bool is_at_the_bench);
int bench_repaired(const BenchAddress& daemon, const std::string& bench, const std::string& who, const std::string& note);
int show_cautions(const BenchAddress& daemon, const std::string& bench, const std::string& who, bool accepts);

int notify_test(const BenchAddress& daemon, const std::string& who);
int incidents(const BenchAddress& daemon, bool is_json);
int acknowledge_incident(const BenchAddress& daemon, std::int64_t incident, const std::string& who, const std::string& note);
int morning(const BenchAddress& daemon, bool is_json);
int tick(const BenchAddress& daemon, const std::string& id, const std::string& who);

}  // namespace steadyglow::app
