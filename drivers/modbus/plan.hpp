#pragma once
/// Which requests read an instrument: neighbouring registers travel together.
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

#include "drivers/modbus/instrument.hpp"

namespace steadyglow::drivers::modbus {

/// One read request and the channels that it serves (positions in the instrument, in order of address).
struct Request {
  RegisterTable table = RegisterTable::input;
  std::uint16_t address = 0;
  std::uint16_t count = 0;  ///< registers or bits
  std::vector<std::size_t> channels;
  unsigned whole_for_polls = 0;  ///< refused in all its parts: how many polls to wait before it is split again
  unsigned misses = 0;           ///< times in a row that it met silence
  unsigned rest_for_polls = 0;   ///< silent while others answer: how many polls to leave it out
};

/// What one more request costs, in registers that could be read instead: on a serial line up to 19200 bit/s (see request_costs_registers
/// in link.hpp), and over TCP, where a round trip outweighs any number of registers.
inline constexpr int serial_request_costs_registers = 10;
inline constexpr int tcp_request_costs_registers = registers_per_request_limit;

/// The cheapest requests that read every channel: channels of one table travel together as long as no gap is wider than the instrument
/// allows and the request stays within the instrument's limit (registers) or the protocol's (bits: V1.1b3, section 6.1). A gap is read over
/// only where that is cheaper than one more request. Bits are merged without gaps.
std::vector<Request> plan_requests(const Instrument& instrument, int request_costs = serial_request_costs_registers);

/// The same channels in two requests. Only for a request with two channels or more.
std::pair<Request, Request> halves(const Request& request, const Instrument& instrument);

}  // namespace steadyglow::drivers::modbus
