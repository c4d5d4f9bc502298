#include "app/service.hpp"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <cstdlib>
#include <cstring>
#include <ctime>

#include "core/decimal.hpp"

namespace steadyglow::app {
namespace {

std::string taken(const char* name) {
  const char* value = std::getenv(name);
  std::string text = value ? value : "";
  ::unsetenv(name);
  return text;
}

}  // namespace

Service Service::from_environment() {
  Service service;
  service.socket_ = taken("NOTIFY_SOCKET");
  const auto period = parse_decimal(taken("WATCHDOG_USEC"));
  const auto whose = parse_decimal(taken("WATCHDOG_PID"));
  const bool is_ours = !whose || static_cast<pid_t>(*whose) == ::getpid();
  if (period && *period > 0.0 && is_ours) service.watchdog_ = std::chrono::microseconds{static_cast<std::int64_t>(*period)};
  return service;
}

bool Service::say(const std::string& words) const {
  sockaddr_un address{};
  if (socket_.empty() || socket_.size() >= sizeof address.sun_path || (socket_.front() != '/' && socket_.front() != '@')) return false;
  address.sun_family = AF_UNIX;
  std::memcpy(address.sun_path, socket_.data(), socket_.size());
  if (socket_.front() == '@') address.sun_path[0] = '\0';  // an abstract name
  const auto size = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + socket_.size());
  const int to = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
  if (to < 0) return false;
  const bool is_sent = ::sendto(to, words.data(), words.size(), MSG_NOSIGNAL, reinterpret_cast<const sockaddr*>(&address), size) == static_cast<ssize_t>(words.size());
  ::close(to);
  return is_sent;
}

void Service::reloading() const {
  timespec now{};
  clock_gettime(CLOCK_MONOTONIC, &now);
  say("RELOADING=1\nMONOTONIC_USEC=" + std::to_string(static_cast<long long>(now.tv_sec) * 1'000'000 + now.tv_nsec / 1000));
}

void Service::alive(std::chrono::steady_clock::time_point now) {
  if (!watchdog_ || (pinged_at_ && now - *pinged_at_ < *watchdog_ / 2)) return;
  pinged_at_ = now;
  say("WATCHDOG=1");
}

}  // namespace steadyglow::app
