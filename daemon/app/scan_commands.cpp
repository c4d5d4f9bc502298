/// `steadyglow scan`: which Modbus addresses answer, and what a window of registers holds. Reads only.
#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <limits>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/interrupt.hpp"
#include "app/more_commands.hpp"
#include "core/decimal.hpp"
#include "core/uom.hpp"
#include "drivers/modbus/scan.hpp"

namespace steadyglow::app {
namespace {

using namespace drivers::modbus;
using drivers::Parity;

constexpr int width_usual = 100;
constexpr std::size_t looks_like_width = 29;
constexpr std::size_t matches_shown_max = 6;
constexpr int figures = 4;
constexpr double timeout_usual = 0.2;
/// Asked at in this order: what devices of this kind leave their makers with most often first. Common practice, no source.
constexpr std::array usual_rates{9600, 19200, 115200, 38400, 57600, 4800, 2400, 1200};
constexpr std::string_view usual_word = "usual";

struct ScanOptions {
  std::string tcp;
  std::string serial;
  std::string bauds = "9600";
  std::string parity = "none";
  int stop_bits = 1;
  std::string rts = "none";
  bool echo = false;
  double timeout_seconds = timeout_usual;
  int first = 1;
  int last = 247;
  int address = -1;
  std::string table = "holding";
  int from = 0;
  int count = 40;
  bool is_live = false;
  int rounds = 0;  ///< 0: until Ctrl-C
  double every_seconds = 1.0;
  std::optional<double> expect;
  int width = 0;  ///< of a line; 0: the terminal's
  std::string quantity = "voltage";
  std::string uom = "V";
};

/// The rates of `--baud`, in the order in which they are asked at.
Result<std::vector<int>> rates_of(const std::string& text) {
  if (text == usual_word) return std::vector<int>(usual_rates.begin(), usual_rates.end());
  std::vector<int> rates;
  for (std::size_t from = 0; from <= text.size();) {
    const std::size_t end = std::min(text.find(',', from), text.size());
    int rate = 0;
    const auto [stop, error] = std::from_chars(text.data() + from, text.data() + end, rate);
    if (error != std::errc() || stop != text.data() + end || std::find(drivers::baud_rates.begin(), drivers::baud_rates.end(), rate) == drivers::baud_rates.end())
      return fail(Fault::usage, "`" + text.substr(from, end - from) + "` is no baud rate known here", "one of: " + drivers::baud_rates_words() + "; several with commas between, or `" + std::string(usual_word) + "`");
    rates.push_back(rate);
    from = end + 1;
  }
  return rates;
}

Result<ScanPlace> place_of(const ScanOptions& options, int baud) {
  ScanPlace place;
  place.timeout = std::chrono::milliseconds{std::lround(options.timeout_seconds * 1000.0)};
  if (options.tcp.empty() == options.serial.empty()) return fail(Fault::usage, "name one place to look", "--tcp 192.168.1.5 or --serial /dev/serial/by-id/...");
  if (!options.serial.empty()) {
    if (options.serial.front() != '/') return fail(Fault::usage, "`" + options.serial + "` is no full path", "`steadyglow devices` prints the names of this machine's ports");
    const Parity parity = options.parity == "even" ? Parity::even : options.parity == "odd" ? Parity::odd : Parity::none;
    place.end = drivers::SerialLine{options.serial, baud, parity, 8, options.stop_bits};
    place.manners = {options.rts == "before" ? Rts::before : options.rts == "after" ? Rts::after : Rts::none, options.echo};
    return place;
  }
  const auto end = drivers::tcp_end_of(options.tcp, modbus_port);
  if (!end) return tl::unexpected(end.error());
  place.end = *end;
  return place;
}

/// The words that lead back to this place, for the next command.
std::string place_words(const ScanOptions& options, int baud) {
  // A device that needs its time needs it the next time too.
  const std::string time = options.timeout_seconds > timeout_usual ? " --timeout " + to_decimal(options.timeout_seconds) : "";
  if (options.serial.empty()) return "--tcp " + options.tcp + time;
  return fmt::format("--serial {} --baud {} --parity {}{}{}{}{}", options.serial, baud, options.parity, options.stop_bits == 2 ? " --stop-bits 2" : "", options.rts == "none" ? "" : " --rts " + options.rts,
                     options.echo ? " --echo" : "", time);
}

/// One walk over the addresses, at one rate.
struct Walk {
  AddressReport report;
  int baud = 0;
  double seconds = 0.0;
  bool is_one_of_many = false;  ///< rates
};

void say_counts(const Walk& walk) {
  const AddressReport& report = walk.report;
  for (const FoundAddress& found : report.found)
    fmt::print("  address {:>3}  answers{}{}\n", found.address, found.exception == 0 ? "" : fmt::format(" (with exception {}: it is there, and has no holding register 0)", found.exception),
               found.names_itself.empty() ? "" : ", calls itself " + found.names_itself);
  for (const int address : report.noisy) fmt::print("  address {:>3}  something came that is no answer\n", address);
  if (report.is_address_ignored) fmt::print("Every address answers: this is one device that does not look at it. Use address 1.\n");
  fmt::print("{}{} addresses asked in {:.1f} s: {} answer, {} silent, {} with noise{}.\n", walk.is_one_of_many ? fmt::format("{} baud: ", walk.baud) : "", report.asked, walk.seconds, report.found.size(), report.silent,
             report.noisy.size(), report.is_stopped ? "; stopped before the end" : "");
  std::fflush(stdout);
}

int say_end(const Walk& walk, const ScanOptions& options) {
  const AddressReport& report = walk.report;
  const Error lost{Fault::unavailable, report.trouble, options.serial.empty() ? "is the device supplied, and are address and port right" : "check supply and cable", {}};
  if (report.asked == 0 && !report.trouble.empty()) return say(lost);
  say_counts(walk);
  if (!report.noisy.empty()) fmt::print("Noise: two devices with one address, another baud rate or parity, or an answer later than {} s (--timeout).\n", to_decimal(options.timeout_seconds));
  if (!report.trouble.empty()) return say(lost);
  if (report.found.empty()) {
    fmt::print("Nothing answers. In this order: is the device supplied; {}; a longer --timeout 1.\n",
               options.serial.empty() ? "are address and port right"
                                      : fmt::format("are the two wires A and B swapped; {}--parity even, with each rate that its manual names", walk.is_one_of_many ? "" : fmt::format("--baud {} asks at one rate after the other; ", usual_word)));
    return exit_not_good;
  }
  const FoundAddress& first = report.found.front();
  fmt::print("Next: steadyglow scan {} --address {} --table {} --count 40 --live\n", place_words(options, walk.baud), first.address, first.exception == 0 ? "holding" : "input");
  fmt::print("      and the other of the two tables, holding and input; --expect 6.31 finds what a meter beside it reads.\n");
  return exit_good;
}

AddressReport ask_addresses(const ScanPlace& place, const ScanOptions& options, const std::string& at_rate) {
  const bool is_terminal = isatty(STDERR_FILENO) == 1;
  const auto on_progress = [&](const ScanProgress& progress) {
    constexpr int every = 25;
    if (is_terminal) fmt::print(stderr, "\r{}address {:>3}: {} of {} asked, {} found ", at_rate, progress.address, progress.done, progress.total, progress.found);
    else if (progress.done % every == 0) fmt::print(stderr, "{}{} of {} asked, {} found\n", at_rate, progress.done, progress.total, progress.found);
  };
  AddressReport report = Scanner(place).find_addresses(options.first, options.last, on_progress, is_interrupted);
  if (is_terminal) fmt::print(stderr, "\r{:70}\r", "");
  return report;
}

/// At one rate after the other, until something answers.
int scan_addresses(const ScanOptions& options, const std::vector<int>& rates) {
  for (const int baud : rates) {
    const auto place = place_of(options, baud);
    if (!place) return say(place.error());
    const auto began = std::chrono::steady_clock::now();
    Walk walk{.report = {}, .baud = baud, .seconds = 0.0, .is_one_of_many = rates.size() > 1};
    walk.report = ask_addresses(*place, options, walk.is_one_of_many ? fmt::format("{} baud, ", baud) : "");
    walk.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
    const bool is_end = !walk.report.found.empty() || !walk.report.trouble.empty() || walk.report.is_stopped || baud == rates.back();
    if (is_end) return say_end(walk, options);
    say_counts(walk);
  }
  return exit_not_good;
}

std::string scale_words(double scale) { return scale == 1.0 ? "" : " x" + scale_text(scale); }

std::string way_words(const Way& way) {
  const bool is_wide = way.type != Type::int16 && way.type != Type::uint16;
  return std::string(to_word(way.type)) + (is_wide ? " " + std::string(to_word(way.order)) : "") + scale_words(way.scale);
}

/// As short as the column wants it.
std::string guess_words(const Guess& guess) {
  static const std::map<Likeness, std::string> words{{Likeness::mains_voltage, "mains V"}, {Likeness::mains_frequency, "mains Hz"}, {Likeness::room_temperature, "room"}};
  const Way& way = guess.way;
  std::string how;
  if (way.type == Type::float32) how = " f " + std::string(to_word(way.order));
  else if (way.type == Type::int32 || way.type == Type::uint32) how = " i " + std::string(to_word(way.order));
  return words.at(guess.likeness) + "? " + to_figure(way.value, figures) + how + scale_words(way.scale);
}

bool is_same(const Way& a, const Way& b) { return a.address == b.address && a.type == b.type && a.order == b.order; }

/// One way to read, all down the window.
struct Column {
  std::string over;   ///< the line above the titles
  std::string title;
  int width = 0;
  std::vector<Type> types;  ///< the first that is plausible is shown
  WordOrder order = WordOrder::abcd;
  double scale = 1.0;
};

/// As many as a line holds, the usual ones first.
std::vector<Column> columns_within(int width) {
  const std::vector<Type> whole{Type::int32, Type::uint32}, real{Type::float32};
  std::vector<Column> columns{{"", "int16", 7, {Type::int16}}, {"", "uint", 6, {Type::uint16}},
                              {"32-bit integer", "ABCD", 10, whole, WordOrder::abcd}, {"", "CDAB", 10, whole, WordOrder::cdab},
                              {"float32", "ABCD", 10, real, WordOrder::abcd}, {"", "CDAB", 10, real, WordOrder::cdab}};
  const std::vector<Column> scaled{{"int16 times", "0.1", 9, {Type::int16}, WordOrder::abcd, 0.1}, {"", "0.01", 9, {Type::int16}, WordOrder::abcd, 0.01}, {"", "0.001", 9, {Type::int16}, WordOrder::abcd, 0.001}};
  const std::vector<Column> swapped{{"float32", "BADC", 10, real, WordOrder::badc}, {"", "DCBA", 10, real, WordOrder::dcba},
                                    {"32-bit integer", "BADC", 10, whole, WordOrder::badc}, {"", "DCBA", 10, whole, WordOrder::dcba}};
  const auto total = [](const std::vector<Column>& some) {
    int sum = 0;
    for (const Column& column : some) sum += column.width;
    return sum;
  };
  int room = width - width_usual;
  if (room >= total(scaled)) {
    columns.insert(columns.begin() + 2, scaled.begin(), scaled.end());
    room -= total(scaled);
  }
  if (room >= total(swapped)) columns.insert(columns.end(), swapped.begin(), swapped.end());
  return columns;
}

/// A star where it reads what was expected.
std::string cell(const WindowRow& row, const Column& column, const std::vector<ScanMatch>& matches) {
  for (const Type type : column.types) {
    const auto way = std::find_if(row.ways.begin(), row.ways.end(), [&](const Way& w) { return w.type == type && w.order == column.order; });
    if (way == row.ways.end()) continue;
    const bool is_match = std::any_of(matches.begin(), matches.end(), [&](const ScanMatch& match) { return is_same(match.way, *way) && (column.scale == 1.0 || match.way.scale == column.scale); });
    const bool is_whole = type != Type::float32 && column.scale == 1.0;
    return fmt::format("{:>{}}", (is_match ? "*" : "") + (is_whole ? fmt::format("{:.0f}", way->value) : to_figure(way->value * column.scale, column.scale == 1.0 ? figures : 5)), column.width);
  }
  return std::string(static_cast<std::size_t>(column.width), ' ');
}

std::string looks_like(const WindowRow& row, const std::vector<ScanMatch>& matches) {
  const auto match = std::find_if(matches.begin(), matches.end(), [&](const ScanMatch& m) { return m.way.address == row.address; });
  std::string text = match == matches.end() ? "" : "there: " + way_words(match->way);
  for (const Guess& guess : row.guesses) {
    const std::string more = (text.empty() ? "" : ", ") + guess_words(guess);
    if (text.size() + more.size() <= looks_like_width) text += more;
  }
  return text;
}

void show_bits(const Window& window) {
  fmt::print("{:>6} {:>6}  value\n", "addr", "manual");
  for (const WindowRow& row : read_rows(window))
    if (!row.is_edge) fmt::print("{:>6} {:>6}  {}\n", row.address, manual_number(window.table, row.address), row.word ? std::to_string(*row.word) : "refused");
}

int line_width(const ScanOptions& options) {
  if (options.width > 0) return options.width;
  winsize size{};
  return isatty(STDOUT_FILENO) == 1 && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col : width_usual;
}

void print_line(std::string line) {
  line.erase(line.find_last_not_of(' ') + 1);
  fmt::print("{}\n", line);
}

void show_registers(const Window& window, const Window& before, const std::vector<ScanMatch>& matches, int line_columns) {
  const std::vector<Column> columns = columns_within(line_columns);
  std::string over = fmt::format("{:18}", ""), titles = fmt::format("{:>6} {:>6} {:>4}", "addr", "manual", "hex");
  for (const Column& column : columns) {
    titles += fmt::format("{:>{}}", column.title, column.width);
    // Over the pair that it names: from the right of its first title on.
    if (!column.over.empty()) over += fmt::format("{:{}}", "", static_cast<int>(titles.size()) - static_cast<int>(column.title.size()) - static_cast<int>(over.size())) + column.over;
  }
  print_line(over);
  print_line(titles + " looks like");
  for (const WindowRow& row : read_rows(window)) {
    const auto place = static_cast<std::size_t>(row.address - window.first);
    const bool is_changed = place < before.words.size() && before.first == window.first && before.words[place] != row.word;
    const bool is_told = std::any_of(matches.begin(), matches.end(), [&](const ScanMatch& match) { return match.way.address == row.address; });
    if (row.is_edge && !is_told) continue;
    std::string line = fmt::format("{}{:>5} {:>6}", is_changed ? "~" : row.is_edge ? "(" : " ", row.address, manual_number(window.table, row.address));
    if (!row.word) {
      print_line(line + " refused");
      continue;
    }
    line += fmt::format(" {:04X}", *row.word);
    for (const Column& column : columns) line += cell(row, column, matches);
    print_line(line + " " + looks_like(row, matches));
  }
}

void say_matches(const Window& window, const std::vector<ScanMatch>& matches, const ScanOptions& options, const std::string& place) {
  if (matches.empty()) {
    fmt::print("\nNothing here reads {} within {} %. Try --table {}, another --from, or look while it is steady.\n", to_decimal(*options.expect), match_within_percent, options.table == "input" ? "holding" : "input");
    return;
  }
  fmt::print("\n{} {} within {} %, likeliest first. Change what is measured and look again:\nchance does not follow.\n", matches.size() == 1 ? "One way reads" : std::to_string(matches.size()) + " ways read",
             to_decimal(*options.expect), match_within_percent);
  for (std::size_t i = 0; i < std::min(matches.size(), matches_shown_max); ++i) {
    const ScanMatch& match = matches[i];
    fmt::print("\n# {} {} ({}) as {}: {}\n", to_word(window.table), match.way.address, manual_number(window.table, match.way.address), way_words(match.way), to_figure(match.way.value, 5));
    if (match.outside != 0) fmt::print("# one register {} the window: does the list that you copy from count from {}?\n", match.outside < 0 ? "below" : "above", match.outside < 0 ? "1" : "0");
    fmt::print("{}", channel_lines(window.table, match.way, fmt::format("r{}", match.way.address), options.quantity, options.uom));
  }
  if (matches.size() > matches_shown_max) fmt::print("\n# and {} less likely ones\n", matches.size() - matches_shown_max);
  fmt::print("\nNext: copy the right [[channel]] into channels.toml, one for each thing that it measures. Then\n"
             "  steadyglow new-bench bench {} --address {} --channels channels.toml\nwrites a first configuration for it.\n", place, options.address);
}

void show(const Window& window, const Window& before, const ScanOptions& options, const std::string& place) {
  const auto matches = options.expect ? find_value(window, *options.expect) : std::vector<ScanMatch>{};
  const bool is_beside = std::any_of(matches.begin(), matches.end(), [](const ScanMatch& match) { return match.outside != 0; });
  fmt::print("{} {} from {} on, address {} on {}\naddr counts from 0, as an instrument file does{}{}\n", options.table, is_bit_table(window.table) ? "bits" : "registers", window.from, options.address,
             options.serial.empty() ? options.tcp : options.serial, is_beside ? "; ( lies beside what was asked for" : "", options.is_live ? "; ~ has changed; Ctrl-C ends" : "");
  if (is_bit_table(window.table)) show_bits(window);
  else show_registers(window, before, matches, line_width(options));
  if (options.expect) say_matches(window, matches, options, place);
  std::fflush(stdout);
}

int scan_window(const ScanOptions& options, int baud) {
  const auto place = place_of(options, baud);
  if (!place) return say(place.error());
  Scanner scanner(*place);
  WindowAsk ask;
  ask.unit = static_cast<std::uint8_t>(options.address);
  static const std::map<std::string, RegisterTable> tables{{"coil", RegisterTable::coil}, {"discrete", RegisterTable::discrete}, {"holding", RegisterTable::holding}, {"input", RegisterTable::input}};
  ask.table = tables.at(options.table);
  ask.from = static_cast<std::uint16_t>(options.from);
  ask.count = static_cast<std::uint16_t>(options.count);
  const std::string words = place_words(options, baud);
  const bool is_terminal = isatty(STDOUT_FILENO) == 1;
  const int rounds = !options.is_live ? 1 : options.rounds == 0 ? std::numeric_limits<int>::max() : options.rounds;
  int shown = 0;
  Window before;
  for (int round = 0; round < rounds && !is_interrupted; ++round) {
    Window window = scanner.read_window(ask, is_interrupted);
    if (is_interrupted) break;
    if (options.is_live && is_terminal) fmt::print("\033[H\033[2J");
    if (!window.is_answered || !window.trouble.empty()) {
      say({Fault::unavailable, window.trouble, window.is_answered ? fmt::format("--table {}, another --from, or a smaller --count", options.table == "input" ? "holding" : "input") : "`steadyglow scan " + words + "` shows which addresses answer", {}});
    } else {
      show(window, before, options, words);
      ++shown;
      before = std::move(window);
    }
    if (round + 1 < rounds) pause_for(std::chrono::duration<double>(options.every_seconds));
  }
  return shown > 0 ? exit_good : exit_unavailable;
}

int scan(const ScanOptions& options) {
  const auto quantity = quantity_from_word(options.quantity);
  if (!quantity || !find_uom(*quantity, options.uom))
    return say({Fault::usage, "`" + options.uom + "` is no unit of measure for " + options.quantity, quantity ? "one of: " + std::string(uoms_of(*quantity)) : "voltage, current, power, temperature, frequency, energy", {}});
  if (options.address < 0 && options.last < options.first) return say({Fault::usage, "--last is below --first", "swap them?", {}});
  if (options.expect && (*options.expect == 0.0 || !std::isfinite(*options.expect)))
    return say({Fault::usage, "--expect needs a figure that is not 0", "every register that is not in use reads 0: bring what is measured to another value, and expect that", {}});
  const auto rates = options.serial.empty() ? Result<std::vector<int>>(std::vector<int>{0}) : rates_of(options.bauds);
  if (!rates) return say(rates.error());
  if (options.address >= 0 && rates->size() > 1) return say({Fault::usage, "registers are read at one --baud", "leave --address out to find the rate at which something answers", {}});
  watch_for_interrupts();
  return options.address < 0 ? scan_addresses(options, *rates) : scan_window(options, rates->front());
}

}  // namespace

void add_scan_commands(CLI::App& app, int& result) {
  const auto options = std::make_shared<ScanOptions>();
  auto* command = app.add_subcommand("scan", "find what answers on a Modbus line, and what its registers hold; reads only");
  command->add_option("--tcp", options->tcp, "IPv4 address of a device or gateway, with :port if it is not 502");
  command->add_option("--serial", options->serial, "full path of a serial port; the daemon must not have it open");
  command->add_option("--baud", options->bauds, "of the serial line; several with commas between, or `usual`, are asked at one after the other until something answers")->capture_default_str();
  command->add_option("--parity", options->parity, "of the serial line")->check(CLI::IsMember({"none", "even", "odd"}))->capture_default_str();
  command->add_option("--stop-bits", options->stop_bits, "of the serial line")->check(CLI::Range(1, 2))->capture_default_str();
  command->add_option("--rts", options->rts, "when RTS turns the adapter to sending")->check(CLI::IsMember({"none", "before", "after"}))->capture_default_str();
  command->add_flag("--echo", options->echo, "the adapter hears itself");
  command->add_option("--timeout", options->timeout_seconds, "seconds for one whole answer")->check(CLI::Range(0.02, 10.0))->capture_default_str();
  command->add_option("--first", options->first, "first address to ask")->check(CLI::Range(0, 255))->capture_default_str();
  command->add_option("--last", options->last, "last address to ask")->check(CLI::Range(0, 255))->capture_default_str();
  auto* address = command->add_option("--address", options->address, "look into the registers of this device")->check(CLI::Range(0, 255));
  command->add_option("--table", options->table, "which of its tables")->check(CLI::IsMember({"coil", "discrete", "holding", "input"}))->capture_default_str();
  command->add_option("--from", options->from, "first address, counted from 0")->check(CLI::Range(0, 65535))->capture_default_str();
  command->add_option("--count", options->count, "how many")->check(CLI::Range(1, window_count_max))->capture_default_str();
  command->add_flag("--live", options->is_live, "read again and again")->needs(address);
  command->add_option("--rounds", options->rounds, "with --live: end after so many")->check(CLI::Range(1, 1000000));
  command->add_option("--every", options->every_seconds, "with --live: seconds between two")->check(CLI::Range(0.1, 60.0))->capture_default_str();
  command->add_option("--expect", options->expect, "mark what reads this value within 1 %, as any type, order or power of ten; not 0")->needs(address);
  command->add_option("--width", options->width, "columns of a line: more show scales and swapped bytes; without it the terminal's")->check(CLI::Range(width_usual, 400));
  command->add_option("--quantity", options->quantity, "of the lines to copy")->capture_default_str();
  command->add_option("--uom", options->uom, "of the lines to copy")->capture_default_str();
  command->callback([options, &result] { result = scan(*options); });
}

}  // namespace steadyglow::app
