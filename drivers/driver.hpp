#pragma once
/// The one interface between acquisition and everything that speaks to a meter or a relay.
/// A driver turns a protocol into values with a quality; it never knows a limit, a profile or an alarm.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/quality.hpp"
#include "core/result.hpp"

namespace steadyglow::drivers {

/// What one channel of a meter said. `value` is in the uom that the instrument file names;
/// when the quality is not good it is the figure as met (or 0), kept for the record only.
struct ChannelValue {
  double value = 0.0;
  Quality quality = Quality::no_answer;
};

/// One poll of one meter: one entry per channel, in the order of the meter's configuration.
struct MeterReply {
  std::vector<ChannelValue> channels;
  bool is_answered = false;  ///< the meter said something, were it a refusal: it is alive
  std::string trouble;       ///< for the log, when something failed; empty when all went well
  std::string identity{};      ///< what the device calls itself, where it was asked; kept from poll to poll
  /// Another device answers than the one that the meter is bound to: every channel is other_meter, with no value.
  bool is_stranger = false;
};

/// No call may take longer, whatever timeout the configuration names: a bus that makes no turn for 10 s passes for stuck, and the service
/// manager ends the daemon once it has not been told for so long that all parts move (WatchdogSec of its unit file).
inline constexpr std::chrono::milliseconds call_deadline_most{9000};

/// Counts since the bus was made; read by the bus thread, published by acquire.
struct BusCounters {
  std::uint64_t requests = 0;
  std::uint64_t timeouts = 0;
  std::uint64_t refusals = 0;      ///< exception replies
  std::uint64_t garbage = 0;       ///< bad CRC, wrong length, wrong unit or transaction
  std::uint64_t reconnects = 0;
};

/// One physical link (a TCP endpoint, a serial line) with the meters and relays on it.
/// Thread: one bus thread calls every member; nothing here is shared.
/// Fails: never throws; a failure is a quality in the reply or an Error. Every call returns within call_deadline().
class Bus {
 public:
  virtual ~Bus() = default;
  Bus() = default;
  Bus(const Bus&) = delete;
  Bus& operator=(const Bus&) = delete;

  /// Polls all channels of one meter (by its position in the bus configuration).
  virtual MeterReply read(std::size_t meter) = 0;
  /// Writes one output (a relay coil) and does not claim more than that the device accepted the order.
  virtual Result<void> write_output(std::size_t meter, std::size_t output, bool on) = 0;
  /// What the device says of an output now. True: energised.
  virtual Result<bool> read_output(std::size_t meter, std::size_t output) = 0;
  virtual BusCounters counters() const = 0;
  /// The longest that one call may take: call_deadline_most, or less.
  virtual std::chrono::milliseconds call_deadline() const = 0;
};

}  // namespace steadyglow::drivers
