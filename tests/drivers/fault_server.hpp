#pragma once
/// A Modbus device for tests, on a real socket or a real pseudo-terminal, that can misbehave in the ways devices do.
/// Its protocol code is separate from the driver's on purpose; the RTU check comes from Boost.CRC.
#include <atomic>
#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <mutex>
#include <set>
#include <string>
#include <thread>
#include <vector>

namespace steadyglow::tests {

using Bytes = std::vector<std::uint8_t>;

enum class Fault {
  none,
  silent,             ///< does not answer
  late,               ///< answers `late_by` after the request; takes the next request only then
  garbage,            ///< noise instead of an answer
  wrong_unit,         ///< a well-formed answer with a wrong value, from another unit
  wrong_transaction,  ///< TCP: the same with another transaction number
  wrong_length,       ///< TCP: the header's length does not fit; RTU: another count of registers
  wrong_function,     ///< a well-formed answer to another function
  bad_check,          ///< RTU: one bit flipped in the check
  truncated,          ///< the first half of the answer
  exception,          ///< exception 4
  gateway_silence,    ///< exception 0Bh: the device behind the gateway does not respond
  doubled,            ///< the answer, and after it one more with a wrong value
  drip,               ///< the answer byte by byte, 20 ms apart
  hang_up,            ///< closes the connection (TCP)
};

/// One request as it came.
struct Asked {
  std::uint8_t unit = 0;
  std::uint8_t function = 0;
  std::uint16_t address = 0;
  std::uint16_t count = 0;  ///< for function 5: the value
  Bytes wire;
};

/// Every register reads address + level; a bit is 1 at odd addresses, a coil keeps what was written.
class FaultyDevice {
 public:
  std::set<std::uint8_t> units{1};                                 ///< set before start; others are silent
  std::set<std::uint16_t> forbidden;                               ///< set before start; a range over one is exception 2
  std::function<Fault(const Asked&)> fault = [](const Asked&) { return Fault::none; };  ///< set before start
  std::chrono::milliseconds late_by{100};                           ///< set before start
  std::atomic<std::uint16_t> level{0};
  std::atomic<bool> is_relay_stuck{false};                         ///< accepts a coil write and does not follow it

  /// From now on this register reads so, instead of address + level.
  void set(std::uint16_t address, std::uint16_t value);
  /// Text in registers from `address` on, two characters in each, high byte first; zeros behind it.
  void set_text(std::uint16_t address, std::uint16_t registers, const std::string& text);
  /// What it answers to function 43 / 14; none: exception 1.
  void set_names(std::vector<std::string> names);

  std::vector<Asked> asked() const;
  std::size_t asked_count() const;
  bool coil(std::uint16_t address) const;

  /// The PDU of the right answer; `shift` is added to every register.
  Bytes answer(const Asked& asked, std::uint16_t shift = 0);
  void remember(const Asked& asked);

 private:
  mutable std::mutex mutex_;
  std::map<std::uint16_t, bool> coils_;
  std::map<std::uint16_t, std::uint16_t> values_;
  std::vector<std::string> names_;
  std::vector<Asked> asked_;
};

/// A device behind a listening socket on 127.0.0.1.
class TcpFaultServer {
 public:
  /// `port` 0: any free one.
  explicit TcpFaultServer(FaultyDevice& device, int port = 0);
  ~TcpFaultServer();
  int port() const { return port_; }

 private:
  void serve();
  bool answer(int connection, const Asked& asked, std::uint16_t transaction);

  FaultyDevice& device_;
  int listener_ = -1;
  int port_ = 0;
  std::atomic<bool> is_stopping_{false};
  std::thread thread_;
};

/// A device behind a pseudo-terminal.
class RtuFaultServer {
 public:
  /// `has_echo`: as an adapter that hears itself, it gives back each byte before anything else.
  explicit RtuFaultServer(FaultyDevice& device, bool has_echo = false);
  /// Closes the terminal: for the other side the port is gone.
  ~RtuFaultServer();
  const std::string& path() const { return path_; }

 private:
  void serve();
  void answer(const Asked& asked);

  FaultyDevice& device_;
  bool has_echo_;
  int terminal_ = -1;
  int other_end_ = -1;  // kept open, so that the terminal outlives a client that closes it
  std::string path_;
  std::atomic<bool> is_stopping_{false};
  std::thread thread_;
};

/// A frame with its RTU check, low byte first (MODBUS over Serial Line V1.02, section 6.2.2).
Bytes with_check(Bytes frame);

}  // namespace steadyglow::tests
