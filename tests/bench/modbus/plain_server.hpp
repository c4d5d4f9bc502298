#pragma once
/// A quick Modbus TCP device for benchmarks: many connections, one thread, every register reads its address. No faults, no log.
#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cstdint>
#include <cstdlib>
#include <thread>
#include <vector>

namespace steadyglow::tests {

class PlainServer {
 public:
  PlainServer() {
    listener_ = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    if (listener_ < 0 || ::bind(listener_, reinterpret_cast<sockaddr*>(&address), size) != 0 || ::listen(listener_, 64) != 0) std::abort();
    ::getsockname(listener_, reinterpret_cast<sockaddr*>(&address), &size);
    port = ntohs(address.sin_port);
    events_ = ::epoll_create1(EPOLL_CLOEXEC);
    watch(listener_);
    thread_ = std::thread([this] { serve(); });
  }
  ~PlainServer() {
    is_stopping_ = true;
    thread_.join();
    for (const int connection : connections_) ::close(connection);
    ::close(events_);
    ::close(listener_);
  }
  PlainServer(const PlainServer&) = delete;
  PlainServer& operator=(const PlainServer&) = delete;
  int port = 0;

 private:
  void watch(int descriptor) {
    epoll_event event{};
    event.events = EPOLLIN;
    event.data.fd = descriptor;
    ::epoll_ctl(events_, EPOLL_CTL_ADD, descriptor, &event);
  }
  void serve() {
    std::array<epoll_event, 64> ready{};
    while (!is_stopping_) {
      const int count = ::epoll_wait(events_, ready.data(), static_cast<int>(ready.size()), 100);
      for (int i = 0; i < count; ++i) {
        const int descriptor = ready[static_cast<std::size_t>(i)].data.fd;
        if (descriptor != listener_) {
          answer(descriptor);
          continue;
        }
        const int connection = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
        const int yes = 1;
        ::setsockopt(connection, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
        connections_.push_back(connection);
        watch(connection);
      }
    }
  }
  void answer(int connection) {
    std::array<std::uint8_t, 12> request{};
    if (::recv(connection, request.data(), request.size(), MSG_WAITALL) != static_cast<ssize_t>(request.size())) {
      ::epoll_ctl(events_, EPOLL_CTL_DEL, connection, nullptr);
      return;
    }
    const int address = request[8] << 8 | request[9];
    const int registers = request[11];
    std::array<std::uint8_t, 9 + 2 * 125> reply{};
    std::copy_n(request.begin(), 8, reply.begin());
    reply[4] = 0;
    reply[5] = static_cast<std::uint8_t>(3 + 2 * registers);
    reply[8] = static_cast<std::uint8_t>(2 * registers);
    for (int i = 0; i < registers; ++i) {
      reply[static_cast<std::size_t>(9 + 2 * i)] = static_cast<std::uint8_t>((address + i) >> 8);
      reply[static_cast<std::size_t>(10 + 2 * i)] = static_cast<std::uint8_t>(address + i);
    }
    (void)!::send(connection, reply.data(), static_cast<std::size_t>(9 + 2 * registers), MSG_NOSIGNAL);
  }

  int listener_ = -1;
  int events_ = -1;
  std::vector<int> connections_;
  std::atomic<bool> is_stopping_{false};
  std::thread thread_;
};

}  // namespace steadyglow::tests
