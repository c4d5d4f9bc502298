#pragma once
/// The far end of a wire, on a real socket or pseudo-terminal: says what a test tells it to say.
#include <poll.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <string>
#include <string_view>
#include <thread>

#include "support/far_ends.hpp"

namespace steadyglow::tests {

class TcpTalker {
 public:
  drivers::TcpEnd end() const { return listener_.end(); }

  /// Takes the call that waits, in place of an earlier one.
  void pick_up() {
    hang_up();
    call_.reset(listener_.take());
  }
  void hang_up() { call_.close(); }
  void say(std::string_view bytes) const {
    if (::send(call_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL) != static_cast<ssize_t>(bytes.size())) std::abort();
  }
  /// What was sent to it, up to a line end, within a second.
  std::string hear() const {
    std::string text;
    for (char c = 0; c != '\n' && is_there() && ::recv(call_.get(), &c, 1, 0) == 1;) text += c;
    return text;
  }

 private:
  bool is_there() const {
    pollfd state{call_.get(), POLLIN, 0};
    return ::poll(&state, 1, 1000) > 0;
  }
  Listener listener_;
  Descriptor call_;
};

class PtyTalker {
 public:
  PtyTalker() {
    termios settings{};
    ::tcgetattr(pty_.end.get(), &settings);
    ::cfmakeraw(&settings);
    ::tcsetattr(pty_.end.get(), TCSANOW, &settings);
  }

  const std::string& path() const { return pty_.name; }
  void say(std::string_view bytes) const {
    if (::write(pty_.end.get(), bytes.data(), bytes.size()) != static_cast<ssize_t>(bytes.size())) std::abort();
  }
  /// What was sent to it, up to a line end, within a second. Nobody may have the port open yet.
  std::string hear() const {
    std::string text;
    const auto until = std::chrono::steady_clock::now() + std::chrono::seconds{1};
    while (!text.ends_with('\n') && std::chrono::steady_clock::now() < until) {
      pollfd state{pty_.end.get(), POLLIN, 0};
      char c = 0;
      if (::poll(&state, 1, 100) > 0 && ::read(pty_.end.get(), &c, 1) == 1) text += c;
      else if ((state.revents & POLLHUP) != 0) std::this_thread::sleep_for(std::chrono::milliseconds{1});
    }
    return text;
  }
  void unplug() { pty_.end.close(); }

 private:
  Pty pty_;
};

}  // namespace steadyglow::tests
