#pragma once
#include <modbus/modbus.h>

#include <chrono>
#include <functional>
#include <memory>
#include <span>
#include <string>

#include "core/result.hpp"
#include "drivers/modbus/link.hpp"

namespace steadyglow::drivers::modbus {

struct FreeContext {
  void operator()(modbus_t* context) const { modbus_free(context); }
};
using Context = std::unique_ptr<modbus_t, FreeContext>;

/// What TCP and RTU share: a libmodbus context that is opened with a growing pause between failures.
/// The library's own error recovery stays off: with the port gone it never returns (measured, 3.1.6).
/// Thread: one bus thread. Owns: the context and its descriptor.
class Port {
 public:
  enum class Owner : std::uint8_t { many, this_one };
  /// `context` may be null (a device name that the library refuses); every open then fails. Owner::this_one: `where` is a serial port, which
  /// the library does not lock.
  Port(Context context, std::string where, BusCounters& counters, Owner owner = Owner::many);
  ~Port();
  Port(const Port&) = delete;
  Port& operator=(const Port&) = delete;

  /// Opens unless open already.
  Result<void> open(Deadline deadline, Urgency urgency);
  void close();
  bool is_open() const { return is_open_; }
  std::uint64_t session() const { return session_; }
  int descriptor() const { return modbus_get_socket(context_.get()); }
  modbus_t* context() const { return context_.get(); }
  const std::string& where() const { return where_; }
  /// Waits for one whole frame, at most until the deadline. Its length; 0: a frame of another unit (RTU); -1: see errno.
  int receive(std::uint8_t* frame, Deadline deadline);
  /// The same for frames that the library cannot measure. `bytes_needed` says how long the frame is that has begun so; 0: more must come
  /// first; -1: it is none. Its length, or -1: see errno.
  int receive_by(const std::function<int(std::span<const std::uint8_t> begun)>& bytes_needed, std::span<std::uint8_t> frame, Deadline deadline);

 private:
  Result<void> connect(Deadline deadline);
  Result<void> claim();
  void release();
  void set_timeout(Deadline deadline);

  Context context_;
  std::string where_;
  BusCounters& counters_;
  Owner owner_;
  int claim_ = -1;  ///< a descriptor of the port's that holds the lock
  bool is_open_ = false;
  bool was_ever_open_ = false;
  std::uint64_t session_ = 1;
  Deadline retry_at_{};
  std::chrono::milliseconds pause_ = open_pause_first;
  Error open_trouble_;
};

/// Bytes thrown away that are waiting now; -1 when the other end is gone.
int discard_waiting(int descriptor);

/// True when errno speaks of the link, not of what came over it.
bool is_link_error(int error);

}  // namespace steadyglow::drivers::modbus
