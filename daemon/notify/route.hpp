#pragma once
/// One way to reach somebody. A route knows how to carry a message, and nothing of why it is sent.
#include <atomic>
#include <chrono>
#include <string>

#include "core/result.hpp"
#include "notify/message.hpp"

namespace steadyglow::notify {

/// No attempt takes longer than this in all, whatever the other side does.
inline constexpr std::chrono::seconds attempt_max{20};
inline constexpr std::chrono::seconds connect_max{8};

/// Thread: a worker of its own calls send(); abort() from any.
class Route {
 public:
  virtual ~Route() = default;
  Route() = default;
  Route(const Route&) = delete;
  Route& operator=(const Route&) = delete;

  /// Good when the other side has taken the message. Returns within attempt_max, sooner after abort().
  virtual Result<void> send(const Message& message) = 0;
  /// Address for people, without secrets.
  virtual std::string where() const = 0;
  virtual std::string kind() const = 0;
  void abort() { is_aborted_ = true; }

 protected:
  const std::atomic<bool>& is_aborted() const { return is_aborted_; }

 private:
  std::atomic<bool> is_aborted_{false};
};

}  // namespace steadyglow::notify
