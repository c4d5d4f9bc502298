#pragma once
/// Bytes to and from a device over TCP, a serial line or a USBTMC character device; it knows nothing of what they mean.
#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <variant>

#include "core/result.hpp"
#include "drivers/driver.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::drivers::wire {

using Clock = std::chrono::steady_clock;
using Deadline = Clock::time_point;

inline constexpr std::chrono::milliseconds open_pause_first{100};  ///< after a failed open; doubles each time
inline constexpr std::chrono::milliseconds open_pause_max{2000};
/// A line counts as silent after this long: more than the 16 ms for which a common USB converter holds bytes back.
inline constexpr std::chrono::milliseconds guard_silence{30};
inline constexpr std::chrono::milliseconds clear_max{250};  ///< a device that never falls silent holds nobody longer
inline constexpr std::size_t read_bytes_max = 4096;         ///< what one read_some() brings at most

/// A serial line and its two control lines. The kernel raises both for a moment as it opens a port; after that they are as stated here, and
/// they are left alone at closing, so that a microcontroller is reset once at most, not at each opening.
struct SerialEnd {
  SerialLine line;
  bool is_dtr_high = true;
  bool is_rts_high = true;
};

/// A character device that carries whole messages: one a write, one a read (USBTMC 1.0; linux/usb/tmc.h).
struct UsbTmc {
  std::string device;
};

using Place = std::variant<TcpEnd, SerialEnd, UsbTmc>;

/// For people: "127.0.0.1:5025" or the device's path.
std::string shown(const Place& place);

/// Thread: one bus thread. Owns: the descriptor, and the device alone (a second program is refused).
/// Fails: Fault::unavailable; never throws; never outlasts a deadline by more than the scheduler does (a USBTMC kernel driver counts in
/// steps of 100 ms: with less than that left nothing is begun). After a failure that ended the connection is_open() is false.
class Wire {
 public:
  virtual ~Wire() = default;
  Wire() = default;
  Wire(const Wire&) = delete;
  Wire& operator=(const Wire&) = delete;

  /// Nothing to do when open. A failed open is not tried again before a pause of open_pause_first, doubling to open_pause_max, is over.
  virtual Result<void> open(Deadline deadline) = 0;
  /// The same without the pause: for an order, which cannot wait.
  virtual Result<void> open_now(Deadline deadline) = 0;
  virtual void close() = 0;
  virtual bool is_open() const = 0;
  /// 0 before the first opening, then one more at each: what a device was told before may be forgotten.
  virtual std::uint64_t session() const = 0;
  /// All of it or a failure. Needs an open wire.
  virtual Result<void> write(std::string_view bytes, Deadline deadline) = 0;
  /// What has come: at least one byte, at most read_bytes_max. "no answer in time", with is_open() still true, or why the wire is closed.
  /// A USBTMC message that ends without a newline gets one: there the transport tells the end, not a byte.
  virtual Result<std::string> read_some(Deadline deadline) = 0;
  /// Bytes that wait now, thrown away; needs an open wire. False when the other end is gone (closed now).
  virtual bool discard_waiting(std::size_t& bytes) = 0;
  /// Nothing that was asked before can be met afterwards, as far as a wire can see to that: a serial line is read until it was silent for
  /// guard_silence, a TCP connection is made anew (session() counts on), a USBTMC device gets the clear request where it has one.
  /// Fails when the line does not fall silent within clear_max.
  virtual Result<void> clear(Deadline deadline) = 0;
};

/// `counters` outlives the wire and counts reconnects.
std::unique_ptr<Wire> make_wire(Place place, BusCounters& counters);

/// Reads a serial bus: `device`, `baud`, `parity`, `data_bits`, `stop_bits`, and `dtr` and `rts` ("high", which is the default, or "low").
SerialEnd read_serial_end(document::Table& bus, SerialLine defaults);

}  // namespace steadyglow::drivers::wire
