#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <utility>

#include "drivers/wire/descriptor.hpp"

namespace steadyglow::drivers::wire {
namespace {

// A device that is only listened to would never miss a peer that lost its supply: the kernel asks one that has been silent for so many
// seconds (tcp(7): TCP_KEEPIDLE), then so often, and gives it up after so many questions without an answer.
constexpr int keep_idle_seconds = 5;
constexpr int keep_interval_seconds = 2;
constexpr int keep_count = 3;

/// A socket that is being connected, until somebody takes it.
class NewSocket {
 public:
  NewSocket() : descriptor_(::socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0)) {}
  ~NewSocket() {
    if (descriptor_ >= 0) ::close(descriptor_);
  }
  NewSocket(const NewSocket&) = delete;
  NewSocket& operator=(const NewSocket&) = delete;
  int get() const { return descriptor_; }
  int take() { return std::exchange(descriptor_, -1); }

 private:
  int descriptor_;
};

class TcpWire final : public DescriptorWire {
 public:
  TcpWire(TcpEnd end, BusCounters& counters) : DescriptorWire(shown(end), counters), end_(std::move(end)) {}

  Result<void> write(std::string_view bytes, Deadline deadline) override {
    if (!is_open()) return trouble("it is not open");
    while (!bytes.empty()) {
      const ssize_t sent = ::send(descriptor(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (sent >= 0) bytes.remove_prefix(static_cast<std::size_t>(sent));
      else if (errno == EAGAIN && !wait_for(POLLOUT, deadline)) return lost("it takes no more bytes");
      else if (errno != EAGAIN && errno != EINTR) return lost("connection lost: " + reason(errno));
    }
    return {};
  }

  /// A late answer dies with its connection.
  Result<void> clear(Deadline deadline) override {
    close();
    return open_now(deadline);
  }

 private:
  std::string end_words() const override { return "the other end closed the connection"; }

  Result<int> connect(Deadline deadline) override {
    NewSocket socket;
    if (socket.get() < 0) return trouble("cannot open: " + reason(errno));
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(end_.port));
    if (::inet_pton(AF_INET, end_.host.c_str(), &address.sin_addr) != 1) return trouble("not an IPv4 address", "write it as 192.168.40.21");
    const auto set = [&](int level, int option, int value) { (void)::setsockopt(socket.get(), level, option, &value, sizeof value); };
    set(IPPROTO_TCP, TCP_NODELAY, 1);
    set(SOL_SOCKET, SO_KEEPALIVE, 1);
    set(IPPROTO_TCP, TCP_KEEPIDLE, keep_idle_seconds);
    set(IPPROTO_TCP, TCP_KEEPINTVL, keep_interval_seconds);
    set(IPPROTO_TCP, TCP_KEEPCNT, keep_count);
    if (::connect(socket.get(), reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
      if (errno != EINPROGRESS) return trouble("cannot open: " + reason(errno));
      if (!is_writable(socket.get(), deadline)) return trouble("cannot open: no answer in time", "is it switched on, and is this its address?");
      int error = 0;
      socklen_t size = sizeof error;
      ::getsockopt(socket.get(), SOL_SOCKET, SO_ERROR, &error, &size);
      if (error != 0) return trouble("cannot open: " + reason(error));
    }
    return socket.take();
  }

  static bool is_writable(int descriptor, Deadline deadline) {
    while (true) {
      const auto left = std::chrono::ceil<std::chrono::milliseconds>(deadline - Clock::now()).count();
      pollfd state{descriptor, POLLOUT, 0};
      const int ready = ::poll(&state, 1, left > 0 ? static_cast<int>(left) : 0);
      if (ready != 0 && !(ready < 0 && errno == EINTR)) return ready > 0;
      if (ready == 0 && left <= 0) return false;
    }
  }

  TcpEnd end_;
};

}  // namespace

std::unique_ptr<Wire> make_tcp(TcpEnd end, BusCounters& counters) { return std::make_unique<TcpWire>(std::move(end), counters); }

}  // namespace steadyglow::drivers::wire
