/// `steadyglow probe`: what the configured meters say, or how an SCPI instrument that nobody knows wants to be spoken to. Switches nothing on.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <string>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/interrupt.hpp"
#include "app/more_commands.hpp"
#include "app/settings.hpp"
#include "core/decimal.hpp"
#include "core/uom.hpp"
#include "drivers/scpi/find.hpp"

namespace steadyglow::app {
namespace {

namespace scpi = drivers::scpi;
namespace wire = drivers::wire;

struct ProbeOptions {
  std::string config;
  std::string meter;  ///< empty: all
  int rounds = 3;
  std::string tcp;
  std::string serial;
  std::string usbtmc;
  int baud = 0;  ///< 0: all of them, the usual first
  std::string parity = "none";
  bool holds_dtr_low = false;
  bool asks_no_value = false;
};

std::string said(const drivers::ChannelInfo& info, const drivers::ChannelValue& channel) {
  if (channel.quality != Quality::good) return std::string(to_word(channel.quality));
  const auto uom = find_uom(info.quantity, info.uom);
  return to_figure(channel.value, 5) + " " + std::string(uom ? uom->shown : "");
}

/// Reads one meter some times and prints its last words. True if it answered each time, and was the one that is bound.
bool show_meter(drivers::Bus& bus, const drivers::BusSpec& spec, std::size_t m, int rounds) {
  const drivers::MeterInfo& meter = spec.meters[m];
  drivers::MeterReply reply;
  int answers = 0;
  for (int round = 0; round < rounds; ++round) {
    reply = bus.read(m);
    answers += reply.is_answered ? 1 : 0;
  }
  fmt::print("{} on {} ({}): answered {} of {}{}\n", meter.name, spec.name, spec.where, answers, rounds, reply.trouble.empty() ? "" : "; " + reply.trouble);
  for (std::size_t c = 0; c < meter.channels.size() && c < reply.channels.size(); ++c)
    fmt::print("  {:<16} {}\n", meter.channels[c].name, said(meter.channels[c], reply.channels[c]));
  if (!reply.identity.empty() && meter.identity.empty()) fmt::print("  to accept no other device here, copy this line to [[bus.meter]]:\n  identity = {}\n", drivers::toml_text(reply.identity));
  return answers == rounds && !reply.is_stranger;
}

int probe_configured(const ProbeOptions& options) {
  Errors errors;
  const auto settings = load_settings(options.config, errors, false);
  if (!settings) return say(errors);
  bool is_known = options.meter.empty();
  bool all_answered = true;
  for (const auto& spec : settings->buses) {
    const auto bus = spec.make();
    for (std::size_t m = 0; m < spec.meters.size(); ++m) {
      if (!options.meter.empty() && spec.meters[m].name != options.meter) continue;
      is_known = true;
      all_answered &= show_meter(*bus, spec, m, options.rounds);
    }
  }
  if (!is_known) return say({Fault::usage, fmt::format("there is no meter `{}`", options.meter), "leave the name out to see them all", options.config});
  return all_answered ? exit_good : exit_unavailable;
}

Result<wire::Place> place_of(const ProbeOptions& options) {
  if (!options.tcp.empty()) return drivers::tcp_end_of(options.tcp, scpi::scpi_port).map([](const drivers::TcpEnd& end) { return wire::Place(end); });
  if (!options.usbtmc.empty()) return wire::UsbTmc{options.usbtmc};
  wire::SerialEnd end{.line = {.device = options.serial, .baud = 9600}, .is_dtr_high = !options.holds_dtr_low};
  end.line.parity = options.parity == "even" ? drivers::Parity::even : options.parity == "odd" ? drivers::Parity::odd : drivers::Parity::none;
  return end;
}

std::string_view ending_words(const std::string& terminator) { return terminator == "\n" ? "LF" : terminator == "\r" ? "CR" : "CR LF"; }

void show(const scpi::FoundInstrument& found) {
  fmt::print("{}\n  answers at {}; lines that end with {}", found.identity, wire::shown(found.place), ending_words(found.terminator));
  if (const auto* serial = std::get_if<wire::SerialEnd>(&found.place)) fmt::print(", {} baud", serial->line.baud);
  fmt::print("\n");
  if (!found.first.query.empty())
    fmt::print("  {} -> {}{}\n", found.first.query, found.first.answer.empty() ? "no answer" : found.first.answer, found.first.trouble.empty() ? "" : "; " + found.first.trouble);
  fmt::print("\nTo copy, with names of your own and the instrument file that fits (config/instruments has some to begin with):\n\n{}", found.config_lines);
}

int probe_unknown(const ProbeOptions& options) {
  const auto place = place_of(options);
  if (!place) return say(place.error());
  watch_for_interrupts();
  scpi::SearchOptions search;
  if (options.baud != 0) search.bauds = {options.baud};
  search.asks_for_a_value = !options.asks_no_value;
  const auto progress = [](const scpi::SearchStep& step) { fmt::print(stderr, "{}/{}: {}\n", step.number, step.steps, step.trying); };
  const auto found = scpi::find_instrument(*place, search, progress, is_interrupted);
  if (!found) return say(found.error());
  show(*found);
  return exit_good;
}

}  // namespace

void add_scpi_commands(CLI::App& app, int& result) {
  static ProbeOptions options;
  auto* command = app.add_subcommand("probe", "read every channel of the configured meters, or find out how an SCPI instrument wants to be spoken to; switches nothing on");
  auto* config = command->add_option("config", options.config, "the daemon's configuration");
  command->add_option("meter", options.meter, "one meter only");
  command->add_option("--rounds", options.rounds, "how often each is read")->check(CLI::Range(1, 100))->capture_default_str();
  auto* tcp = command->add_option("--tcp", options.tcp, fmt::format("an instrument's IPv4 address, as HOST or HOST:PORT (port {} if none is given)", scpi::scpi_port));
  auto* serial = command->add_option("--serial", options.serial, "a serial line with one instrument, as in /dev/serial/by-id/...");
  auto* usbtmc = command->add_option("--usbtmc", options.usbtmc, "a USB instrument's device, as in /dev/usbtmc0");
  command->add_option("--baud", options.baud, "this rate only")->needs(serial);
  command->add_option("--parity", options.parity, "none, even or odd")->check(CLI::IsMember({"none", "even", "odd"}))->needs(serial);
  command->add_flag("--dtr-low", options.holds_dtr_low, "hold DTR low: a board may reset when it rises")->needs(serial);
  command->add_flag("--no-value", options.asks_no_value, "ask for its name alone, not for a reading");
  tcp->excludes(serial)->excludes(usbtmc)->excludes(config);
  serial->excludes(usbtmc)->excludes(config);
  usbtmc->excludes(config);
  command->callback([&result] {
    const bool is_unknown = !options.tcp.empty() || !options.serial.empty() || !options.usbtmc.empty();
    if (!is_unknown && options.config.empty()) throw CLI::ValidationError("probe", "name a configuration, or one of --tcp, --serial and --usbtmc");
    result = is_unknown ? probe_unknown(options) : probe_configured(options);
  });
}

}  // namespace steadyglow::app
