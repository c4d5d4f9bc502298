#pragma once
/// The options of the commands about the night, apart from main: they are many.
#include <memory>

#include <CLI/CLI.hpp>

#include "app/commands.hpp"

namespace steadyglow::app {

/// Adds them to `app`. The command that was given puts its exit code into `result`.
void add_night_commands(CLI::App& app, BenchAddress& daemon, int& result);
/// --host, --port, --password-file
void add_bench_options(CLI::App& command, BenchAddress& daemon);

}  // namespace steadyglow::app
