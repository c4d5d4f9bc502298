#pragma once
/// Looks for meters while the daemon runs: one search at a time, on a thread of its own. It only reads.
#include <atomic>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "core/result.hpp"
#include "drivers/bus_spec.hpp"
#include "drivers/place_toml.hpp"

namespace steadyglow::app {

/// A live window ends by itself when nobody has looked for this long: its page was closed.
inline constexpr std::chrono::seconds window_unseen_max{15};
inline constexpr std::chrono::milliseconds window_every{1000};

/// What a person expects to read, and how the lines to copy name it.
struct Expected {
  std::optional<double> value;
  std::string name = "ch1";
  std::string quantity = "voltage";
  std::string uom = "V";
};

/// May a search go there? IPv4 addresses of this machine or of a private network (RFC 1918, RFC 3927).
Result<void> check_host(const std::string& host);
/// Such a host, and at a port of it where no bus of the daemon is at work.
Result<void> check_end(const drivers::TcpEnd& end, const std::vector<drivers::BusSpec>& buses);
/// A serial port or USBTMC device that no bus of the daemon has open, by whatever name it is called.
Result<void> check_device(const std::string& device, const std::vector<drivers::BusSpec>& buses);

/// Thread: begin, stop and state on the loop; the search on its own thread. Owns: that thread; a line while it is searched.
class MeterSearch {
 public:
  explicit MeterSearch(const std::vector<drivers::BusSpec>& buses) : buses_(buses) {}
  ~MeterSearch() { end(); }
  MeterSearch(const MeterSearch&) = delete;
  MeterSearch& operator=(const MeterSearch&) = delete;

  /// `ask` as in API.md. Errors: usage for what is wrong in it, or when a search goes on; permission for a place that is not to be asked.
  Result<void> begin(const nlohmann::json& ask);
  /// Asks it to stop; it does so after the question that it waits for, within 3 s.
  void stop() { stops_ = true; }
  /// Stops it and waits for it.
  void end();
  nlohmann::ordered_json state(const Expected& expected);

 private:
  struct Found;  ///< what a search knows until now
  struct Job;
  void search(const Job& job);

  const std::vector<drivers::BusSpec>& buses_;
  std::thread thread_;
  std::atomic<bool> stops_{false};
  std::atomic<bool> is_running_{false};
  std::atomic<std::int64_t> seen_ms_{0};  ///< steady clock: when somebody looked last
  std::mutex mutex_;                      ///< guards found_
  std::shared_ptr<const Found> found_;    ///< replaced, never changed
};

}  // namespace steadyglow::app
