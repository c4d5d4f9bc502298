#pragma once
/// The far end of a wire, on a real socket or pseudo-terminal: says what a test tells it to say.
#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <pty.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdlib>
#include <string>
#include <string_view>
#include <thread>

#include "drivers/place_toml.hpp"

namespace steadyglow::tests {

class TcpTalker {
 public:
  TcpTalker() : listener_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    if (::bind(listener_, reinterpret_cast<sockaddr*>(&address), size) != 0 || ::listen(listener_, 4) != 0) std::abort();
    ::getsockname(listener_, reinterpret_cast<sockaddr*>(&address), &size);
    port_ = ntohs(address.sin_port);
  }
  TcpTalker(const TcpTalker&) = delete;
  TcpTalker& operator=(const TcpTalker&) = delete;
  ~TcpTalker() {
    hang_up();
    ::close(listener_);
  }

  drivers::TcpEnd end() const { return {"127.0.0.1", port_}; }

  /// Takes the call that waits, in place of an earlier one.
  void pick_up() {
    hang_up();
    call_ = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
  }
  void hang_up() {
    if (call_ >= 0) ::close(call_);
    call_ = -1;
  }
  void say(std::string_view bytes) const {
    if (::send(call_, bytes.data(), bytes.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(bytes.size())) std::abort();
  }
  /// What was sent to it, up to a line end, within a second.
  std::string hear() const {
    std::string text;
    for (char c = 0; c != '\n' && is_there() && ::recv(call_, &c, 1, 0) == 1;) text += c;
    return text;
  }

 private:
  bool is_there() const {
    pollfd state{call_, POLLIN, 0};
    return ::poll(&state, 1, 1000) > 0;
  }
  int listener_;
  int call_ = -1;
  int port_ = 0;
};

class PtyTalker {
 public:
  PtyTalker() {
    std::array<char, 128> name{};
    if (::openpty(&near_, &far_, name.data(), nullptr, nullptr) != 0) std::abort();
    path_ = name.data();
    termios settings{};
    ::tcgetattr(far_, &settings);
    ::cfmakeraw(&settings);
    ::tcsetattr(far_, TCSANOW, &settings);
    ::close(far_);
  }
  PtyTalker(const PtyTalker&) = delete;
  PtyTalker& operator=(const PtyTalker&) = delete;
  ~PtyTalker() { unplug(); }

  const std::string& path() const { return path_; }
  void say(std::string_view bytes) const {
    if (::write(near_, bytes.data(), bytes.size()) != static_cast<ssize_t>(bytes.size())) std::abort();
  }
  /// What was sent to it, up to a line end, within a second. Nobody may have the port open yet.
  std::string hear() const {
    std::string text;
    const auto until = std::chrono::steady_clock::now() + std::chrono::seconds{1};
    while (!text.ends_with('\n') && std::chrono::steady_clock::now() < until) {
      pollfd state{near_, POLLIN, 0};
      char c = 0;
      if (::poll(&state, 1, 100) > 0 && ::read(near_, &c, 1) == 1) text += c;
      else if ((state.revents & POLLHUP) != 0) std::this_thread::sleep_for(std::chrono::milliseconds{1});
    }
    return text;
  }
  void unplug() {
    if (near_ >= 0) ::close(near_);
    near_ = -1;
  }

 private:
  int near_ = -1;
  int far_ = -1;
  std::string path_;
};

}  // namespace steadyglow::tests
