#pragma once
/// A client that may send anything: a plain socket with a bound on every wait.
#include <arpa/inet.h>
#include <sys/socket.h>
#include <unistd.h>

#include <charconv>
#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace steadyglow::http {

struct RawAnswer {
  int status = 0;
  std::string header;
  std::string body;

  /// A field's value; nothing when it is absent. Names as the server writes them.
  std::optional<std::string> field(const std::string& name) const {
    const std::size_t at = header.find("\r\n" + name + ": ");
    if (at == std::string::npos) return std::nullopt;
    const std::size_t begin = at + name.size() + 4;
    return header.substr(begin, header.find("\r\n", begin) - begin);
  }
};

class RawClient {
 public:
  explicit RawClient(std::uint16_t port, int receive_buffer_bytes = 0, std::chrono::seconds patience = std::chrono::seconds{5}) : fd_(::socket(AF_INET, SOCK_STREAM, 0)) {
    const timeval wait{.tv_sec = patience.count(), .tv_usec = 0};
    ::setsockopt(fd_, SOL_SOCKET, SO_RCVTIMEO, &wait, sizeof wait);
    ::setsockopt(fd_, SOL_SOCKET, SO_SNDTIMEO, &wait, sizeof wait);
    if (receive_buffer_bytes > 0) ::setsockopt(fd_, SOL_SOCKET, SO_RCVBUF, &receive_buffer_bytes, sizeof receive_buffer_bytes);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(port);
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    is_open_ = ::connect(fd_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;
  }
  ~RawClient() { hang_up(); }
  RawClient(const RawClient&) = delete;
  RawClient& operator=(const RawClient&) = delete;

  bool is_open() const { return is_open_; }
  void hang_up() {
    if (fd_ >= 0) ::close(fd_);
    fd_ = -1;
  }
  bool send(std::string_view bytes) {
    while (!bytes.empty()) {
      const auto sent = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (sent <= 0) return false;
      bytes.remove_prefix(static_cast<std::size_t>(sent));
    }
    return true;
  }
  /// Reads until `mark` has come and takes everything up to its end; what came when the line ends or patience does.
  std::string read_until(std::string_view mark) {
    for (;;) {
      const std::size_t at = waiting_.find(mark);
      if (at != std::string::npos) return take(at + mark.size());
      if (!read_some()) return take(waiting_.size());
    }
  }
  /// All until the server closes.
  std::string read_all() {
    while (read_some()) {
    }
    return take(waiting_.size());
  }
  /// True when the server closed the line; false when it said more or nothing in time.
  bool is_closed_by_server() { return waiting_.empty() && !read_some() && is_ended_; }

  RawAnswer read_answer(bool is_head = false) {
    RawAnswer answer;
    answer.header = read_until("\r\n\r\n");
    if (answer.header.size() < 12) return answer;
    std::from_chars(answer.header.data() + 9, answer.header.data() + 12, answer.status);
    std::size_t length = 0;
    const auto text = answer.field("Content-Length").value_or("0");
    std::from_chars(text.data(), text.data() + text.size(), length);
    if (is_head) return answer;
    while (waiting_.size() < length && read_some()) {
    }
    answer.body = take(std::min(length, waiting_.size()));
    return answer;
  }

 private:
  bool read_some() {
    char bytes[4096];
    const auto count = ::recv(fd_, bytes, sizeof bytes, 0);
    is_ended_ = count == 0 || (count < 0 && errno != EAGAIN && errno != EWOULDBLOCK);
    if (count <= 0) return false;
    waiting_.append(bytes, static_cast<std::size_t>(count));
    return true;
  }
  std::string take(std::size_t bytes) {
    std::string text = waiting_.substr(0, bytes);
    waiting_.erase(0, bytes);
    return text;
  }
  int fd_;
  bool is_open_ = false;
  bool is_ended_ = false;
  std::string waiting_;
};

/// One request on a line of its own, as given.
inline RawAnswer ask_raw(std::uint16_t port, const std::string& request) {
  RawClient client(port);
  client.send(request);
  return client.read_answer(request.starts_with("HEAD "));
}

}  // namespace steadyglow::http
