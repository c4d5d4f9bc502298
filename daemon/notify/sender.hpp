#pragma once
/// Carries messages: one worker per route, so that a route that hangs delays no other.
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>
#include <vector>

#include "notify/route.hpp"

namespace steadyglow::notify {

/// What became of one attempt.
struct Delivery {
  std::string message;
  std::string route;
  int attempt = 1;
  bool is_delivered = false;
  bool is_given_up = false;  ///< no further attempt
  std::string error;
};

struct RouteHealth {
  std::string name;
  std::string kind;
  std::string where;
  bool is_tried = false;
  bool is_ok = true;             ///< of the last attempt
  std::string reason;
  std::size_t waiting = 0;
};

struct SenderTiming {
  std::chrono::milliseconds retry_first{1000};
  std::chrono::milliseconds retry_max{60'000};  ///< each pause is twice the last, up to this
  int attempts_of_low = 5;                      ///< what wakes nobody is not tried for ever
};

inline constexpr std::size_t waiting_max = 256;  ///< per route; beyond, the oldest that wakes nobody gives way

/// Thread: construct, send, health and stop on the loop; `told` is called on the workers: post it to where it belongs.
class Sender {
 public:
  struct NamedRoute {
    std::string name;
    std::unique_ptr<Route> route;
  };
  Sender(std::vector<NamedRoute> routes, std::function<void(Delivery)> told, SenderTiming timing = {});
  /// Aborts what is on its way. Returns within a second or so even while a peer hangs.
  ~Sender();
  Sender(const Sender&) = delete;
  Sender& operator=(const Sender&) = delete;

  /// Puts it into the queue of its route. False when there is no such route.
  bool send(Message message);
  std::vector<RouteHealth> health() const;

 private:
  struct Worker;
  void work(Worker& worker);

  std::function<void(Delivery)> told_;
  SenderTiming timing_;
  std::vector<std::unique_ptr<Worker>> workers_;
};

}  // namespace steadyglow::notify
