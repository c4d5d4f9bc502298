/// steadyglow-bench: simulated amplifiers behind real Modbus, for the demo and the tests.
#include <fmt/format.h>
#include <sys/signalfd.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <cstdio>
#include <exception>
#include <fstream>
#include <iterator>

#include "demo/bench/bench_server.hpp"

using namespace steadyglow;
using namespace steadyglow::demo;

namespace {

// sysexits, as everywhere in Steadyglow.
constexpr int exit_good = 0;
constexpr int exit_not_good = 1;
constexpr int exit_usage = 64;
constexpr int exit_bad_data = 65;
constexpr int exit_cannot_create = 73;
constexpr int exit_io = 74;

std::optional<Night> load_night(const std::string& file, Errors& errors) {
  std::ifstream in(file, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  if (!in.good() && text.empty()) {
    errors.push_back({Fault::bad_data, "cannot be read", "the nights of the demo are in demo/nights", file});
    return std::nullopt;
  }
  return parse_night(text, file, errors);
}

/// A descriptor that becomes readable when the program is asked to end.
Descriptor stop_signal() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGTERM);
  sigprocmask(SIG_BLOCK, &set, nullptr);
  return Descriptor(signalfd(-1, &set, SFD_CLOEXEC));
}

void say(const std::string& line) {
  fmt::print("{}\n", line);
  std::fflush(stdout);
}

void say_the_end(const VirtualBench& bench) {
  for (const UnitTruth& unit : bench.truth()) {
    const std::string name(to_word(unit.model));
    if (unit.damaged_at) {
      say(fmt::format("{}: DAMAGED at {} ({})", name, time_of_day(bench.night(), *unit.damaged_at), unit.worst_what));
      continue;
    }
    say(fmt::format("{}: damage point never reached; worst {} {:.0f} % at {}, damage beyond {:.0f} % for {:.0f} s, longest {:.0f} s", name, unit.worst_what,
                    unit.worst_percent, time_of_day(bench.night(), unit.worst_at), unit.stress.damage_percent, unit.stress.damage_seconds, unit.seconds_beyond));
  }
}

int serve(const std::string& night_file, ServerOptions options) {
  Errors errors;
  auto night = load_night(night_file, errors);
  if (!night) {
    for (const Error& error : errors) fmt::print(stderr, "{}\n", error.text());
    return exit_bad_data;
  }
  const Descriptor stop = stop_signal();
  VirtualBench bench(std::move(*night));
  const std::string link = options.pty_link;
  const auto server = BenchServer::open(bench, std::move(options));
  if (!server) {
    fmt::print(stderr, "{}\n", server.error().text());
    return exit_cannot_create;
  }
  say(fmt::format("port {}", (*server)->port()));
  if (!link.empty()) say(fmt::format("pty {} -> {}", link, (*server)->device()));
  say("ready");
  (*server)->run(stop.number(), say);
  say_the_end(bench);
  bool is_damaged = false;
  for (const UnitTruth& unit : bench.truth()) is_damaged |= unit.damaged_at.has_value();
  return is_damaged ? exit_not_good : exit_good;
}

}  // namespace

int main(int count, char** words) try {
  std::signal(SIGPIPE, SIG_IGN);
  CLI::App app("A virtual bench: simulated units under test behind real Modbus TCP (127.0.0.1) and Modbus RTU (a pseudo-terminal).\n"
               "It ends on SIGTERM or Ctrl-C; exit code 1 says that a simulated unit was damaged.");
  std::string night;
  ServerOptions options;
  options.port = 1502;
  app.add_option("--night", night, "script of the night (TOML)")->required();
  app.add_option("--port", options.port, "Modbus TCP port; 0 takes a free one and prints it")->capture_default_str();
  app.add_option("--pty", options.pty_link, "path at which the serial line's device is linked; without it there is no serial line");
  app.add_option("--rate", options.rate, "bench seconds per real second")->check(CLI::Range(0.1, 5000.0))->capture_default_str();
  app.add_option("--state", options.state_file, "JSON file for the truth of the bench, renewed about once a second");
  app.add_flag("--hold", options.waits_for_first_request, "bench time stands still until the first request");
  try {
    app.parse(count, words);
  } catch (const CLI::Success& done) {
    return app.exit(done);
  } catch (const CLI::ParseError& error) {
    app.exit(error);
    return exit_usage;
  }
  return serve(night, std::move(options));
} catch (const std::exception& error) {
  fmt::print(stderr, "error: {}\n", error.what());
  return exit_io;
}
