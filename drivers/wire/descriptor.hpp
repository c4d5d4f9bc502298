#pragma once
/// What all wires share: a descriptor that is opened with growing pauses between failures, read and written within a deadline.
#include <string>

#include "drivers/wire/wire.hpp"

namespace steadyglow::drivers::wire {

class DescriptorWire : public Wire {
 public:
  DescriptorWire(std::string where, BusCounters& counters);
  ~DescriptorWire() override;

  Result<void> open(Deadline deadline) final;
  Result<void> open_now(Deadline deadline) final;
  void close() final;
  bool is_open() const final { return descriptor_ >= 0; }
  std::uint64_t session() const final { return session_; }
  Result<void> write(std::string_view bytes, Deadline deadline) override;
  Result<std::string> read_some(Deadline deadline) override;
  bool discard_waiting(std::size_t& bytes) override;
  Result<void> clear(Deadline deadline) override;  ///< reads until the line was silent

 protected:
  /// A descriptor that is ready for use, or why not. May throw nothing.
  virtual Result<int> connect(Deadline deadline) = 0;
  /// What it means that a read brings nothing.
  virtual std::string end_words() const { return "the port is gone"; }
  /// Before the descriptor is closed.
  virtual void leave() {}
  int descriptor() const { return descriptor_; }
  tl::unexpected<Error> trouble(std::string message, std::string hint = {}) const;
  /// Closes, and says why.
  tl::unexpected<Error> lost(const std::string& why);
  /// Waits for `events` (poll(2)) until the deadline; false: not in time.
  bool wait_for(short events, Deadline deadline) const;

 private:
  std::string where_;
  BusCounters& counters_;
  int descriptor_ = -1;
  std::uint64_t session_ = 0;
  Deadline retry_at_{};
  std::chrono::milliseconds pause_ = open_pause_first;
  std::string open_trouble_;
  std::string open_hint_;
};

std::unique_ptr<Wire> make_tcp(TcpEnd end, BusCounters& counters);
std::unique_ptr<Wire> make_serial(SerialEnd end, BusCounters& counters);
std::unique_ptr<Wire> make_usbtmc(UsbTmc end, BusCounters& counters);

/// What a failed system call means, for a person.
std::string reason(int error);

}  // namespace steadyglow::drivers::wire
