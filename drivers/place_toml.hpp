#pragma once
/// Where a bus ends: a TCP endpoint or a serial line, as the configuration names it. The same keys for every driver.
#include <chrono>
#include <string>

#include "document/table.hpp"

namespace steadyglow::drivers {

struct TcpEnd {
  std::string host;  ///< IPv4 address: resolving a name could block the bus for seconds
  int port = 0;
};

enum class Parity : char { none = 'N', even = 'E', odd = 'O' };

struct SerialLine {
  std::string device;
  int baud = 0;
  Parity parity = Parity::none;
  int data_bits = 8;
  int stop_bits = 1;
};

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
