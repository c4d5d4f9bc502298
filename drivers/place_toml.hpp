#pragma once
/// Where a bus ends: a TCP endpoint or a serial line, as the configuration names it. The same keys for every driver.
#include <array>
#include <chrono>
#include <string>
#include <string_view>

#include "core/result.hpp"
#include "document/table.hpp"

namespace steadyglow::drivers {

struct TcpEnd {
  std::string host;  ///< IPv4 address: resolving a name could block the bus for seconds
  int port = 0;
};

enum class Parity : char { none = 'N', even = 'E', odd = 'O' };

inline constexpr std::array baud_rates{300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400};
/// "300, 600, ...", for a hint.
std::string baud_rates_words();

struct SerialLine {
  std::string device;
  int baud = 0;
  Parity parity = Parity::none;
  int data_bits = 8;
  int stop_bits = 1;
};

/// "192.168.40.21" or "192.168.40.21:502", as a person writes it for a command. Fault::usage for what is no IPv4 address, and for a port that is none.
Result<TcpEnd> tcp_end_of(std::string_view text, int port_default);
/// A text as TOML writes it: in quotes, what would end it or is no character of a line escaped (TOML 1.0.0, basic strings).
std::string toml_text(std::string_view text);

/// Reads `host` and `port`.
TcpEnd read_tcp_end(document::Table& bus, int port_default);
/// Reads `device`, `baud`, `parity`, `stop_bits` (and `data_bits` where `has_data_bits`). Refuses a device whose name moves from boot to
/// boot, such as /dev/ttyUSB0.
SerialLine read_serial_line(document::Table& bus, SerialLine defaults, bool has_data_bits);
/// Reads `device` alone, with the same refusal.
std::string read_device(document::Table& bus);

inline constexpr double timeout_seconds_least = 0.02;
inline constexpr double timeout_seconds_most = 10.0;
/// Reads `timeout_seconds`: for one whole answer.
std::chrono::milliseconds read_timeout(document::Table& bus, double seconds_default);

}  // namespace steadyglow::drivers
