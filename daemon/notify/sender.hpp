#pragma once
/// Carries messages: one worker per route, so that a route that hangs delays no other.
///
/// A message is tried when it comes, whatever else waits; what failed is tried again after pauses that double. So a message
/// that its server will never take holds up no other for long. Messages of one incident keep their order while that can be.
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "notify/route.hpp"

namespace steadyglow::notify {

/// What became of one attempt.
struct Delivery {
  std::string message;
  std::string route;
  int attempt = 1;           ///< 0: given up before the first
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
  std::optional<std::chrono::system_clock::time_point> last_delivered;  ///< in this life of the program
  std::uint64_t given_up = 0;    ///< messages that nobody will get by this route
};

/// Real time. What wakes somebody (high, highest) is never given up; the rest is, when it has waited for long.
struct SenderTiming {
  std::chrono::milliseconds retry_first{1000};
  std::chrono::milliseconds retry_max{60'000};   ///< each pause is twice the last, up to this
  std::chrono::milliseconds quiet_lasts{3'600'000};  ///< longer than a mail server keeps strangers waiting
};

/// Per route. Beyond it what wakes nobody gives way first, then what only says something again, then the oldest.
inline constexpr std::size_t waiting_max = 256;
/// So often a message that fails keeps back the later ones of its incident.
inline constexpr int attempts_in_order = 3;
/// ~Sender returns within this, whatever the peers do.
inline constexpr std::chrono::seconds stop_max{5};

/// Thread: construct, send, health and destroy on the loop; `told` is called on the workers and in send(): post it to where it
/// belongs.
class Sender {
 public:
  struct NamedRoute {
    std::string name;
    std::unique_ptr<Route> route;
  };
  Sender(std::vector<NamedRoute> routes, std::function<void(Delivery)> told, SenderTiming timing = {});
  /// Aborts what is on its way; `told` is not called any more.
  ~Sender();
  Sender(const Sender&) = delete;
  Sender& operator=(const Sender&) = delete;

  /// Puts it into the queue of its route. False when there is no such route.
  bool send(Message message);
  std::vector<RouteHealth> health() const;

 private:
  class Worker;
  std::vector<std::unique_ptr<Worker>> workers_;
};

}  // namespace steadyglow::notify
