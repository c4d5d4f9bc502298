#pragma once
/// The wires of the virtual bench: Modbus TCP on the loopback, Modbus RTU on a pseudo-terminal, one clock, one state file.
#include <modbus/modbus.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "demo/bench/descriptor.hpp"
#include "demo/bench/modbus_frames.hpp"
#include "demo/bench/serial_line.hpp"
#include "demo/bench/virtual_bench.hpp"

namespace steadyglow::demo {

struct ServerOptions {
  std::uint16_t port = 0;  ///< 0: a free one
  std::string pty_link;    ///< empty: no serial line
  double rate = 1.0;       ///< bench seconds per real second
  bool waits_for_first_request = false;  ///< bench time stands at the night's start until somebody asks
  std::string state_file;  ///< empty: none
};

inline constexpr std::size_t clients_max = 32;

/// Thread: one. Owns: sockets, line and clock. Fails: Error at open; afterwards a bad client is dropped and counted.
class BenchServer {
 public:
  static Result<std::unique_ptr<BenchServer>> open(VirtualBench& bench, ServerOptions options);
  BenchServer(const BenchServer&) = delete;
  BenchServer& operator=(const BenchServer&) = delete;
  ~BenchServer();

  std::uint16_t port() const { return port_; }
  const std::string& device() const;
  /// Serves until something can be read from `stop`; says what happens through `say`.
  void run(int stop, const std::function<void(const std::string&)>& say);

 private:
  using Clock = std::chrono::steady_clock;
  struct Client {
    Descriptor socket;
    TcpFrames frames;
  };
  /// A request that waits for its late answer. client 0: the serial line.
  struct Waiting {
    Clock::time_point due;
    std::uint64_t client;
    Bytes frame;
  };
  struct FreeContext {
    void operator()(modbus_t* context) const { modbus_free(context); }
  };
  struct FreeMapping {
    void operator()(modbus_mapping_t* mapping) const { modbus_mapping_free(mapping); }
  };
  struct Counts {
    std::uint64_t requests = 0;
    std::uint64_t dropped = 0;
    std::uint64_t late = 0;
    std::uint64_t bad_frames = 0;
  };

  BenchServer(VirtualBench& bench, ServerOptions options);
  Result<void> listen();
  Result<void> open_line();
  void make_mappings();
  void let_time_pass();
  void accept_clients();
  void read_client(std::uint64_t id);
  void read_line();
  void take(std::uint64_t client, Bytes frame);
  void answer_due();
  void answer(std::uint64_t client, const Bytes& frame);
  void refresh(const Device& device, modbus_mapping_t& mapping);
  void obey(const Device& device, const modbus_mapping_t& mapping, std::span<const std::uint8_t> pdu);
  void watch_over_feeding();
  void write_state();
  int milliseconds_to_wait() const;

  VirtualBench& bench_;
  ServerOptions options_;
  std::uint16_t port_ = 0;
  std::unique_ptr<modbus_t, FreeContext> tcp_;
  std::unique_ptr<modbus_t, FreeContext> rtu_;
  Descriptor listener_;
  std::optional<SerialLine> line_;
  SerialFrames line_frames_;
  Clock::time_point line_heard_{};
  std::map<std::uint64_t, Client> clients_;
  std::uint64_t next_client_ = 1;
  std::map<std::uint8_t, std::unique_ptr<modbus_mapping_t, FreeMapping>> mappings_;
  std::map<std::uint8_t, std::uint64_t> asked_;  ///< requests per unit id: what decides which one is dropped
  std::vector<Waiting> waiting_;
  std::optional<Clock::time_point> began_;
  std::optional<Clock::time_point> fed_at_;  ///< the watchdog's coil was written; empty: it is not armed
  Clock::time_point state_due_{};
  Counts counts_;
};

}  // namespace steadyglow::demo
