/// The person's command line.
#include <CLI/CLI.hpp>
#include <exception>
#include <iostream>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/more_commands.hpp"
#include "app/night_options.hpp"

using namespace steadyglow::app;

int main(int count, char** words) try {
  CLI::App app("Steadyglow: watches repaired hi-fi while it soaks.\n"
               "It is not a safety device: fuse, RCD/GFCI, thermal cut-out and smoke alarm must each work with this computer off.");
  app.require_subcommand(1);
  int result = exit_good;
  BenchAddress bench;

  CheckOptions check_options;
  auto* check_command = app.add_subcommand("check", "read files as the daemon would, and list every mistake");
  check_command->add_option("config", check_options.config, "the daemon's configuration");
  check_command->add_option("--profile", check_options.profile, "a profile");
  check_command->add_option("--plan", check_options.plan, "a plan");
  check_command->callback([&] {
    if (check_options.config.empty() && check_options.profile.empty() && check_options.plan.empty()) throw CLI::ValidationError("check", "name a configuration, a profile or a plan");
    result = check(check_options);
  });

  ReplayOptions replay_options;
  auto* replay_command = app.add_subcommand("replay", "run a recording through the engine and print what it would have said");
  replay_command->add_option("--profile", replay_options.profile, "what is measured and what is normal")->required();
  replay_command->add_option("--plan", replay_options.plan, "stages; without it: 60 min warm-up, 30 min baseline, then soak");
  replay_command->add_option("--csv", replay_options.csv, "the recording: time_s (or time), then points of the profile")->required();
  replay_command->add_option("--events", replay_options.events, "write findings as JSON Lines to this file, or - for standard output");
  replay_command->add_flag("--json", replay_options.is_json, "print findings as JSON Lines instead of text");
  replay_command->callback([&] { result = replay_recording(replay_options); });

  bool is_json = false;
  auto* status_command = app.add_subcommand("status", "every unit, its hours and its alarms; exit 1 when an alarm waits for a person");
  status_command->add_flag("--json", is_json, "the bench as JSON");
  add_bench_options(*status_command, bench);
  status_command->callback([&] { result = status(bench, is_json); });

  std::string who;
  std::string text;
  std::string unit;
  std::int64_t alarm = 0;
  auto* acknowledge_command = app.add_subcommand("acknowledge", "say that you have seen an alarm");
  acknowledge_command->add_option("alarm", alarm, "its number, as status shows it")->required();
  acknowledge_command->add_option("--who", who, "your name")->required();
  acknowledge_command->add_option("--note", text, "what you make of it");
  add_bench_options(*acknowledge_command, bench);
  acknowledge_command->callback([&] { result = acknowledge(bench, alarm, who, text); });

  bool is_at_the_bench = false;
  auto* start_command = app.add_subcommand("start", "switch a unit on and begin its run");
  start_command->add_option("unit", unit, "the unit's name")->required();
  start_command->add_option("--who", who, "your name")->required();
  start_command->add_flag("--at-the-bench", is_at_the_bench, "you stand at the bench and it is safe to power this unit (needed after a trip)");
  add_bench_options(*start_command, bench);
  start_command->callback([&] { result = start(bench, unit, who, is_at_the_bench); });

  auto* stop_command = app.add_subcommand("stop", "order a unit off");
  stop_command->add_option("unit", unit, "the unit's name")->required();
  stop_command->add_option("--who", who, "your name")->required();
  stop_command->add_option("--why", text, "the reason, for the record");
  add_bench_options(*stop_command, bench);
  stop_command->callback([&] { result = stop(bench, unit, who, text); });

  std::string store_file;
  std::string export_file, export_format = "csv";
  std::int64_t run = 0;
  auto* export_command = app.add_subcommand("export", "write the readings of a run as CSV, or all that was stored of it as JSON Lines");
  export_command->add_option("store", store_file, "the daemon's store file")->required();
  export_command->add_option("run", run, "number of the run")->required();
  export_command->add_option("file", export_file, "file to write")->required();
  export_command->add_option("--format", export_format, "csv: as replay reads it; jsonl: with what was done and said")->check(CLI::IsMember({"csv", "jsonl"}));
  export_command->callback([&] { result = export_readings(store_file, run, export_file, export_format); });

  std::string password_file;
  auto* password_command = app.add_subcommand("password", "set the password without which the page stays on this machine");
  password_command->add_option("file", password_file, "file to write the hash to")->required();
  password_command->callback([&] { result = make_password(password_file); });

  add_night_commands(app, bench, result);
  add_card_commands(app, result);
  add_page_commands(app, result);
  add_seal_commands(app, result);
  add_compare_commands(app, result);
  add_take_out_commands(app, result);
  add_scan_commands(app, result);
  add_scpi_commands(app, result);
  add_devices_commands(app, result);

  try {
    app.parse(count, words);
  } catch (const CLI::Success& done) {
    return app.exit(done);
  } catch (const CLI::ParseError& error) {
    app.exit(error);
    return exit_usage;
  }
  return result;
} catch (const std::exception& error) {
  std::cerr << "error: " << error.what() << '\n';
  return exit_io;
}
