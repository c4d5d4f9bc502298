#pragma once
/// The far ends of wires, for a test to hold: a listening socket on 127.0.0.1, a pseudo-terminal.
#include <arpa/inet.h>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cstdint>
#include <cstdlib>
#include <string>

#include "drivers/place_toml.hpp"

namespace steadyglow::tests {

class Descriptor {
 public:
  explicit Descriptor(int value = -1) : value_(value) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() { close(); }
  int get() const { return value_; }
  void reset(int value) {
    close();
    value_ = value;
  }
  void close() {
    if (value_ >= 0) ::close(value_);
    value_ = -1;
  }
  void say(const std::string& text) const { ASSERT_EQ(::write(value_, text.data(), text.size()), static_cast<ssize_t>(text.size())); }
  /// What has come, within two seconds.
  std::string hear() const {
    pollfd state{value_, POLLIN, 0};
    char text[256];
    if (::poll(&state, 1, 2000) <= 0) return {};
    const ssize_t got = ::read(value_, text, sizeof text);
    return got > 0 ? std::string(text, static_cast<std::size_t>(got)) : std::string();
  }

 private:
  int value_;
};

/// One end of a pseudo-terminal; who is tested opens the other by its name, and sets it up.
struct Pty {
  Pty() : end(::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC)) {
    if (end.get() < 0 || ::grantpt(end.get()) != 0 || ::unlockpt(end.get()) != 0) std::abort();
    name = ::ptsname(end.get());
  }
  Descriptor end;
  std::string name;
};

/// A socket that listens on a free port.
struct Listener {
  static constexpr int callers_waiting_max = 64;

  Listener() : socket(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    if (::bind(socket.get(), reinterpret_cast<sockaddr*>(&address), size) != 0 || ::listen(socket.get(), callers_waiting_max) != 0) std::abort();
    ::getsockname(socket.get(), reinterpret_cast<sockaddr*>(&address), &size);
    port = ntohs(address.sin_port);
  }
  /// The descriptor of the call that waits, or of the next one.
  int take() const { return ::accept4(socket.get(), nullptr, nullptr, SOCK_CLOEXEC); }
  drivers::TcpEnd end() const { return {"127.0.0.1", port}; }

  Descriptor socket;
  int port = 0;
};

}  // namespace steadyglow::tests
