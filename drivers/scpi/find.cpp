#include "drivers/scpi/find.hpp"

#include <algorithm>
#include <array>
#include <filesystem>
#include <optional>
#include <string_view>
#include <utility>

#include "drivers/scpi/answer.hpp"
#include "drivers/scpi/dialog.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using std::chrono::milliseconds;
using wire::Place;
using wire::SerialEnd;
using wire::UsbTmc;

struct Ending {
  std::string_view bytes;
  std::string_view shown;
  std::string_view toml;
};
constexpr std::array<Ending, 3> endings{{{"\n", "LF", "\\n"}, {"\r\n", "CR LF", "\\r\\n"}, {"\r", "CR", "\\r"}}};

constexpr milliseconds wire_allowance{500};   // opening and clearing
constexpr milliseconds value_within{2500};    // a slow reading with autoranging
constexpr int undefined_header = -113;        // SCPI-1999 volume 2, section 21.8.9
constexpr std::string_view error_query = "SYST:ERR?";

struct Attempt {
  Place place;
  Ending ending;
  std::string shown;
};

std::vector<Attempt> attempts_at(const Place& place, const std::vector<int>& bauds) {
  std::vector<Attempt> attempts;
  const auto* serial = std::get_if<SerialEnd>(&place);
  if (serial == nullptr) {
    for (const Ending& ending : endings) attempts.push_back({place, ending, "lines that end with " + std::string(ending.shown)});
    return attempts;
  }
  for (const int baud : bauds)
    for (const Ending& ending : endings) {
      SerialEnd end = *serial;
      end.line.baud = baud;
      attempts.push_back({end, ending, std::to_string(baud) + " baud, lines that end with " + std::string(ending.shown)});
    }
  return attempts;
}

/// How far the search got, from nothing to an answer.
enum class Reached : std::uint8_t { nothing, open, bytes };

struct Meeting {
  std::optional<std::string> identity;
  Reached reached = Reached::nothing;
  std::string trouble;
};

Meeting meet(Dialog& dialog, milliseconds answer_within) {
  Meeting meeting;
  const Deadline open_by = Clock::now() + wire_allowance;
  if (auto opened = dialog.wire().open_now(open_by); !opened) {
    meeting.trouble = opened.error().message;
    return meeting;
  }
  meeting.reached = Reached::open;
  dialog.forget();
  std::size_t bytes = 0;
  (void)dialog.wire().discard_waiting(bytes);
  // Whatever an earlier attempt left in its buffer ends here.
  (void)dialog.tell("", Clock::now() + answer_within);
  auto naming = dialog.ask_name(Clock::now() + answer_within);
  if (naming) {
    meeting.identity = std::move(naming->identity);
    return meeting;
  }
  meeting.trouble = naming.error().message;
  if (bytes > 0 || meeting.trouble.find("half an answer") != std::string::npos || naming.error().fault == Fault::bad_data) meeting.reached = Reached::bytes;
  return meeting;
}

/// Asks for one value, and leaves the error queue as empty as a polite guest does.
FirstAnswer ask_first(Dialog& dialog, std::string_view query, int& code, const std::atomic<bool>& is_stopped) {
  FirstAnswer first{.query = std::string(query), .answer = {}, .trouble = {}};
  code = 0;
  auto answer = dialog.ask(query, Clock::now() + value_within);
  if (answer) first.answer = shown_answer(*answer);
  else {
    first.trouble = answer.error().message;
    (void)dialog.clear(Clock::now() + wire_allowance);
  }
  if (is_stopped || !dialog.ask_name(Clock::now() + value_within) || is_stopped) return first;
  const auto entries = dialog.ask_errors(std::string(error_query), value_within, Clock::now() + value_within);
  if (!entries || entries->empty()) return first;
  for (const std::string& entry : *entries) {
    if (const auto read = read_error(entry); read && read->code == undefined_header) code = undefined_header;
    first.trouble += (first.trouble.empty() ? "" : "; ") + entry;
  }
  return first;
}

/// What the search itself left in the error queue says nothing of the reading.
void empty_queue(Dialog& dialog, const std::atomic<bool>& is_stopped) {
  if (dialog.ask_errors(std::string(error_query), value_within, Clock::now() + value_within) || is_stopped) return;
  (void)dialog.clear(Clock::now() + wire_allowance);
  (void)dialog.ask_name(Clock::now() + value_within);
}

/// A person who stops it, or a daemon that ends, waits for one question.
FirstAnswer first_value(Dialog& dialog, const std::atomic<bool>& is_stopped) {
  empty_queue(dialog, is_stopped);
  if (is_stopped) return {};
  int code = 0;
  FirstAnswer first = ask_first(dialog, "READ?", code, is_stopped);
  // Only where READ? is unknown: on a multimeter MEAS:VOLT? would change what it measures.
  if (first.answer.empty() && code == undefined_header && !is_stopped) first = ask_first(dialog, "MEAS:VOLT?", code, is_stopped);
  return first;
}

std::string instrument_for(const FirstAnswer& first) {
  if (first.answer.empty()) return "describe-it";
  if (first.query == "MEAS:VOLT?") return "scpi-supply-output";
  return split_fields(first.answer).size() == 1 ? "scpi-multimeter-volts" : "scpi-scanner-10ch";
}

/// The link under /dev/serial that leads to the same device and stays when numbers move.
std::string lasting_name(const std::string& device) {
  namespace fs = std::filesystem;
  std::error_code error;
  const fs::path target = fs::canonical(device, error);
  if (error) return device;
  for (const char* folder : {"/dev/serial/by-id", "/dev/serial/by-path"})
    for (const fs::directory_entry& entry : fs::directory_iterator(folder, error))
      if (fs::canonical(entry.path(), error) == target && !error) return entry.path().string();
  const fs::path whole = fs::absolute(device, error);
  return error ? device : whole.string();
}

std::string device_line(const std::string& device) {
  const std::string name = lasting_name(device);
  const bool is_moving = name == device && (name.find("/dev/ttyUSB") == 0 || name.find("/dev/ttyACM") == 0 || name.find("/dev/usbtmc") == 0);
  return "device = " + toml_text(name) + (is_moving ? "   # this name moves: `steadyglow devices` shows the ones that stay" : "") + "\n";
}

std::string place_lines(const Place& place) {
  if (const auto* tcp = std::get_if<TcpEnd>(&place)) return "driver = \"scpi_tcp\"\nhost = " + toml_text(tcp->host) + "\nport = " + std::to_string(tcp->port) + "\n";
  if (const auto* usb = std::get_if<UsbTmc>(&place)) return "driver = \"scpi_usbtmc\"\n" + device_line(usb->device);
  const auto& serial = std::get<SerialEnd>(place);
  std::string lines = "driver = \"scpi_serial\"\n" + device_line(serial.line.device) + "baud = " + std::to_string(serial.line.baud) + "\n";
  if (serial.line.parity != Parity::none) lines += std::string("parity = \"") + (serial.line.parity == Parity::even ? "even" : "odd") + "\"\n";
  if (serial.line.data_bits != 8) lines += "data_bits = " + std::to_string(serial.line.data_bits) + "\n";
  if (serial.line.stop_bits != 1) lines += "stop_bits = " + std::to_string(serial.line.stop_bits) + "\n";
  if (!serial.is_dtr_high) lines += "dtr = \"low\"\n";
  if (!serial.is_rts_high) lines += "rts = \"low\"\n";
  return lines;
}

tl::unexpected<Error> nobody(const Place& place, const Meeting& furthest) {
  switch (furthest.reached) {
    case Reached::nothing: return fail(Fault::unavailable, furthest.trouble, "is it switched on and connected, and is nothing else using it?", wire::shown(place));
    case Reached::bytes:
      return fail(Fault::unavailable, "something answers, and it is no answer to *IDN?: " + furthest.trouble,
                  "another baud rate or parity; or it speaks by itself: describe its lines or frames instead", wire::shown(place));
    case Reached::open: break;
  }
  return fail(Fault::unavailable, "nothing answers *IDN?", "is remote control switched on at the instrument, and does the cable cross its lines?", wire::shown(place));
}

}  // namespace

std::string config_lines(const Place& place, const std::string& terminator, const std::string& identity, const std::string& instrument) {
  std::string lines = "[[bus]]\nname = \"instrument_1\"\n" + place_lines(place) + "[[bus.meter]]\nname = \"meter_1\"\ninstrument = " + toml_text(instrument) + "\n";
  for (const Ending& ending : endings)
    if (ending.bytes == terminator && terminator != "\n") lines += "terminator = \"" + std::string(ending.toml) + "\"\n";
  return lines + "identity = " + toml_text(identity) + "\n";
}

Result<FoundInstrument> find_instrument(const Place& place, const SearchOptions& options, const SearchProgress& progress, const std::atomic<bool>& is_stopped) {
  const auto attempts = attempts_at(place, options.bauds);
  Meeting furthest;
  for (std::size_t i = 0; i < attempts.size(); ++i) {
    if (is_stopped) return fail(Fault::usage, "stopped", {}, wire::shown(place));
    const Attempt& attempt = attempts[i];
    if (progress) progress({i + 1, attempts.size(), attempt.shown});
    BusCounters counters;
    Dialog dialog(attempt.place, std::string(attempt.ending.bytes), counters);
    Meeting meeting = meet(dialog, options.answer_within);
    if (meeting.identity) {
      FoundInstrument found{attempt.place, std::string(attempt.ending.bytes), std::move(*meeting.identity), {}, {}};
      if (options.asks_for_a_value && !is_stopped) found.first = first_value(dialog, is_stopped);
      found.config_lines = config_lines(found.place, found.terminator, found.identity, instrument_for(found.first));
      return found;
    }
    if (furthest.trouble.empty() || meeting.reached > furthest.reached) furthest = std::move(meeting);
    // A port that cannot be opened will not open at another baud rate.
    if (furthest.reached == Reached::nothing) break;
  }
  return nobody(place, furthest);
}

}  // namespace steadyglow::drivers::scpi
