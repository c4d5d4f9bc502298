#include "drivers/place_toml.hpp"

#include <arpa/inet.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <string_view>

namespace steadyglow::drivers {
namespace {

using document::Range;
using document::Table;


constexpr int port_max = 65535;

bool is_ipv4(const std::string& text) {
  in_addr address{};
  return inet_pton(AF_INET, text.c_str(), &address) == 1;
}

/// The kernel numbers these in the order in which they are found: after a restart the number may be another adapter's.
bool is_moving_name(std::string_view device) {
  constexpr std::array<std::string_view, 3> heads{"/dev/ttyUSB", "/dev/ttyACM", "/dev/usbtmc"};
  return std::any_of(heads.begin(), heads.end(), [&](std::string_view head) { return device.starts_with(head); });
}

}  // namespace

std::string baud_rates_words() {
  std::string known;
  for (const int rate : baud_rates) known += (known.empty() ? "" : ", ") + std::to_string(rate);
  return known;
}

Result<TcpEnd> tcp_end_of(std::string_view text, int port_default) {
  const std::size_t colon = text.find(':');
  TcpEnd end{std::string(text.substr(0, colon)), port_default};
  const std::string example = "write it as 192.168.40.21 or 192.168.40.21:" + std::to_string(port_default);
  if (!is_ipv4(end.host)) return fail(Fault::usage, "`" + end.host + "` is not an IPv4 address", example);
  if (colon == std::string_view::npos) return end;
  const char* last = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data() + colon + 1, last, end.port);
  if (error != std::errc() || stop != last || end.port < 1 || end.port > port_max) return fail(Fault::usage, "`" + std::string(text) + "` has no port number behind its colon", example);
  return end;
}

std::string toml_text(std::string_view text) {
  constexpr std::string_view digits = "0123456789abcdef";
  std::string result = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') result += {'\\', c};
    else if (byte < 0x20 || byte == 0x7f) result += {'\\', 'u', '0', '0', digits[byte >> 4], digits[byte & 0xf]};
    else result += c;
  }
  return result + "\"";
}

TcpEnd read_tcp_end(Table& bus, int port_default) {
  TcpEnd end;
  end.host = bus.text("host");
  if (!end.host.empty() && !is_ipv4(end.host))
    bus.mistake("host", "`" + end.host + "` is not an IPv4 address", "give the device a fixed address and write it here: looking up a name could block the bus");
  end.port = bus.maybe_whole("port", {1.0, port_max}).value_or(port_default);
  return end;
}

std::string read_device(Table& bus) {
  std::string device = bus.text("device");
  if (device.empty()) return device;
  if (device.front() != '/')
    bus.mistake("device", "`" + device + "` is not a full path", "use a name that stays, as in /dev/serial/by-id/...");
  else if (is_moving_name(device))
    bus.mistake("device", "`" + device + "` may be another device after the next restart", "`steadyglow devices` prints names that stay");
  return device;
}

SerialLine read_serial_line(Table& bus, SerialLine line, bool has_data_bits) {
  line.device = read_device(bus);
  line.baud = bus.maybe_whole("baud").value_or(line.baud);
  if (std::find(baud_rates.begin(), baud_rates.end(), line.baud) == baud_rates.end())
    bus.mistake("baud", std::to_string(line.baud) + " is no baud rate known here", "one of: " + baud_rates_words());
  if (const auto parity = bus.maybe_word("parity", {"none", "even", "odd"})) line.parity = *parity == "none" ? Parity::none : *parity == "odd" ? Parity::odd : Parity::even;
  if (has_data_bits) line.data_bits = bus.maybe_whole("data_bits", {7.0, 8.0}).value_or(line.data_bits);
  line.stop_bits = bus.maybe_whole("stop_bits", {1.0, 2.0}).value_or(line.stop_bits);
  return line;
}

std::chrono::milliseconds read_timeout(Table& bus, double seconds_default) {
  const double seconds = bus.maybe_number("timeout_seconds", {timeout_seconds_least, timeout_seconds_most}).value_or(seconds_default);
  return std::chrono::milliseconds{static_cast<std::int64_t>(seconds * 1000.0 + 0.5)};
}

}  // namespace steadyglow::drivers
