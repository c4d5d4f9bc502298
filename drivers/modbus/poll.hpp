#pragma once
/// One call of the bus: its reply, its deadline, and whether it is worth asking further.
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

#include "drivers/modbus/modbus_bus.hpp"

namespace steadyglow::drivers::modbus {

struct ModbusBus::Poll {
  MeterReply reply;
  Deadline deadline;
  bool is_over = false;
  std::vector<std::size_t> unknown_channels;  ///< refused with exception 2 in this poll

  void note(std::string trouble) {
    if (reply.trouble.empty()) reply.trouble = std::move(trouble);
  }
  Quality give_up(const Exchange& exchange) {
    is_over = true;
    note(trouble_of(exchange));
    return exchange.outcome == Outcome::garbage ? Quality::implausible : Quality::no_answer;
  }
};

/// What came of asking a device who it is.
struct ModbusBus::Introduction {
  Exchange exchange;
  std::string says;  ///< empty unless it was answered
};

}  // namespace steadyglow::drivers::modbus
