#pragma once
/// One request out, one answer in, over TCP or a serial line; never an answer to something else.
#include <chrono>
#include <cstdint>
#include <memory>
#include <string>

#include "drivers/driver.hpp"
#include "drivers/modbus/frame.hpp"
#include "drivers/place_toml.hpp"
#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::modbus {

using wire::Clock;
using wire::Deadline;
using wire::open_pause_first;
using wire::open_pause_max;

enum class Outcome : std::uint8_t {
  answered,
  refused,   ///< an exception reply
  timeout,   ///< nothing, or not all of it, in time
  garbage,   ///< something came that is no answer to the request
  link_down, ///< no connection, no port
};

struct Exchange {
  Outcome outcome = Outcome::timeout;
  std::uint8_t exception = 0;
  Bytes data;
  std::string trouble;  ///< for a person; empty when answered
};

/// A gateway's word that the device behind it is silent: an answer of the gateway, not of the meter.
bool is_gateway_silence(const Exchange& exchange);
/// Exceptions 1 to 3: the device is well and does not know what it was asked for.
bool is_unknown_to_it(const Exchange& exchange);
/// What went wrong, for a person.
std::string trouble_of(const Exchange& exchange);

/// How long an exchange may take.
struct Limits {
  Deadline deadline;                 ///< of the whole call: opening, falling silent, asking
  std::chrono::milliseconds answer;  ///< from request to complete answer, within the deadline
};

enum class Urgency : std::uint8_t {
  poll,   ///< respects the pause after a failed open
  order,  ///< tries to open at once
};

/// How an RTU reader treats a whole frame of the right unit that does not fit the request.
enum class Stray : std::uint8_t {
  is_an_error,
  is_expected,  ///< late replies may still come: read over them to the one that fits
};

/// Thread: one bus thread. Owns: the libmodbus context and its descriptor. Fails: an Outcome; never throws, never
/// outlasts the deadline by more than the scheduler does.
class Link {
 public:
  virtual ~Link() = default;
  Link() = default;
  Link(const Link&) = delete;
  Link& operator=(const Link&) = delete;

  virtual Exchange exchange(std::uint8_t unit, const Bytes& pdu, const Limits& limits, Urgency urgency, Stray stray) = 0;
  /// From 1, one more each time the link is lost or closed.
  virtual std::uint64_t session() const = 0;
  /// True when an answer carries nothing that ties it to its request (RTU has no transaction number).
  virtual bool needs_sync_proof() const = 0;
};

inline constexpr int modbus_port = 502;  ///< registered for Modbus (IANA)
/// Default of MODBUS over Serial Line V1.02, section 2.5.1: 19200, even parity.
inline const SerialLine serial_default{.device = {}, .baud = 19200, .parity = Parity::even};

/// Start, eight of data, parity (or a second stop bit) and stop: MODBUS over Serial Line V1.02, section 2.5.1.
inline constexpr std::int64_t bits_per_character = 11;
/// The silence between two frames: 3.5 characters; fixed 1.750 ms above 19200 bit/s.
/// Source: MODBUS over Serial Line V1.02, section 2.5.1.1.
constexpr std::chrono::microseconds silent_interval(int baud) {
  if (baud > 19200) return std::chrono::microseconds{1750};
  return std::chrono::microseconds{(35 * bits_per_character * 1'000'000 / 10 + baud - 1) / baud};
}

/// What one more request costs on a serial line, in registers that could be read instead: 8 characters of request, 5 of the answer's
/// frame and two silences, where a register takes 2 characters (MODBUS over Serial Line V1.02, sections 2.3 and 2.5.1).
constexpr int request_costs_registers(int baud) {
  constexpr std::int64_t frame_characters = 13;
  const std::int64_t character_ns = bits_per_character * 1'000'000'000 / baud;
  const std::int64_t request_ns = frame_characters * character_ns + 2 * std::chrono::nanoseconds{silent_interval(baud)}.count();
  return static_cast<int>((request_ns + character_ns) / (2 * character_ns));
}

/// How an RS-485 adapter is told to speak.
enum class Rts : std::uint8_t {
  none,    ///< the adapter turns by itself
  before,  ///< RTS is on from just before the request until it has gone out
  after,   ///< the other way round: RTS is on except while the request goes out
};

struct LineManners {
  Rts rts = Rts::none;
  bool echo = false;  ///< the adapter hears itself: each request comes back, must be what was sent, and is thrown away
};

/// `counters` outlives the link and counts garbage and reconnects.
std::unique_ptr<Link> make_tcp_link(TcpEnd end, BusCounters& counters);
std::unique_ptr<Link> make_rtu_link(SerialLine line, LineManners manners, BusCounters& counters);

}  // namespace steadyglow::drivers::modbus
