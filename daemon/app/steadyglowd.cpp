/// The daemon.
#include <fmt/format.h>
#include <spdlog/async.h>
#include <spdlog/async_logger.h>
#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <csignal>
#include <exception>
#include <iostream>

#include "app/bench.hpp"
#include "app/exit_code.hpp"
#include "app/service.hpp"
#include "app/journal_sink.hpp"
#include "app/settings.hpp"
#include "dashboards/assets.hpp"

using namespace steadyglow;
using namespace steadyglow::app;

namespace {

std::shared_ptr<JournalSink> journal;  ///< set where standard error is the journal

int run(const std::string& config) {
  Service service = Service::from_environment();
  Errors errors;
  auto settings = load_settings(config, errors);
  if (!settings) {
    for (const Error& error : errors) fmt::print(stderr, "{}\n", error.text());
    fmt::print(stderr, "{} mistake{}; the daemon does not start\n", errors.size(), errors.size() == 1 ? "" : "s");
    return exit_config;
  }
  if (journal) {
    std::vector<std::string> titles;
    for (const UnitSettings& unit : settings->units) titles.push_back(unit.title);
    journal->know(std::move(titles));
  }
  if (settings->clock_rate != 1.0) spdlog::warn("DEMO: the clock runs {} times faster; this is no real night", settings->clock_rate);
  auto bench = Bench::open(config, std::move(*settings), [](std::string_view path) { return http::FoundAsset(dashboards::find_asset(path)); });
  if (!bench) {
    fmt::print(stderr, "{}\n", bench.error().text());
    return exit_code(bench.error().fault);
  }
  spdlog::info("listening at {}", (*bench)->address());
  spdlog::info("this is not a safety device: fuse, RCD/GFCI, thermal cut-out and smoke alarm must work without it");
  (*bench)->run(std::move(service));
  return exit_good;
}

}  // namespace

int main(int count, char** words) try {
  std::signal(SIGPIPE, SIG_IGN);
  // A log that nobody reads must not stop the loop: lines wait in a bounded queue, the oldest give way.
  constexpr std::size_t log_lines_max = 8192;
  spdlog::init_thread_pool(log_lines_max, 1);
  spdlog::sink_ptr sink;
  if (is_stderr_the_journal()) sink = journal = std::make_shared<JournalSink>();
  else sink = std::make_shared<spdlog::sinks::stderr_sink_mt>();
  spdlog::set_default_logger(std::make_shared<spdlog::async_logger>("steadyglowd", sink,
                                                                    spdlog::thread_pool(), spdlog::async_overflow_policy::overrun_oldest));
  spdlog::set_pattern("%Y-%m-%dT%H:%M:%S.%e %l %v");
  CLI::App app("Steadyglow's daemon: polls the meters, judges, keeps every reading, and takes a unit off the mains when it must.\n"
               "It is not a safety device.");
  std::string config;
  app.add_option("--config", config, "configuration file")->required();
  try {
    app.parse(count, words);
  } catch (const CLI::Success& done) {
    return app.exit(done);
  } catch (const CLI::ParseError& error) {
    app.exit(error);
    return exit_usage;
  }
  const int result = run(config);
  spdlog::shutdown();
  return result;
} catch (const std::exception& error) {
  std::cerr << "error: " << error.what() << '\n';
  return exit_io;
}
