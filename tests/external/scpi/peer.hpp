#pragma once
/// scpi_peer.py for the length of a test: an instrument written from the standards, on a real port, with its faults at the test's command.
#include <string>
#include <vector>

#include "drivers/wire/wire.hpp"
#include "support/python_peer.hpp"

namespace steadyglow::tests {

using nlohmann::json;

class ScpiPeer : public PythonPeer {
 public:
  explicit ScpiPeer(bool is_serial, const std::vector<std::string>& more = {}) : PythonPeer("scpi/scpi_peer.py", is_serial, more), is_serial_(is_serial) {}

  drivers::wire::Place wire_place() const {
    if (is_serial_) return drivers::wire::SerialEnd{.line = {.device = place(), .baud = 9600}};
    return drivers::TcpEnd{"127.0.0.1", port()};
  }
  int port() const {
    int port = 0;
    std::istringstream(place()) >> port;
    return port;
  }
  json report() { return tell({{"report", true}}).at("report"); }

 private:
  bool is_serial_;
};

}  // namespace steadyglow::tests
