#pragma once
/// One client's connection: reads requests within bounds and deadlines, writes answers, and carries a stream of events.
/// What a request means is not known here.
#include <boost/asio/ip/tcp.hpp>
#include <functional>
#include <memory>

#include "http/exchange.hpp"
#include "http/server.hpp"
#include "http/stream.hpp"

namespace steadyglow::http {

/// What a client may send after we have said our last word, before the line is cut.
inline constexpr std::size_t linger_bytes_max = 1024 * 1024;
inline constexpr std::chrono::milliseconds linger{1000};

/// What a connection needs of the server. Older than any connection.
struct ConnectionLinks {
  std::function<void(Request request, Reply reply)> answer;  ///< `reply` may come later, or never
  Stream& stream;
  ServerFigures& figures;
  Deadlines deadlines;
  std::size_t photos_at_once = 0;  ///< whose bodies are in memory
};

class Connection {
 public:
  virtual ~Connection() = default;
  virtual void begin() = 0;
  /// Closes the line now; nothing of it stays on the loop.
  virtual void close() = 0;
};

/// Takes the socket over. `is_refused`: it gets 503, whatever it asks. `on_closed` is called once.
/// Shared: the handlers of the loop keep a connection alive until the last of them has run.
std::shared_ptr<Connection> make_connection(boost::asio::ip::tcp::socket socket, std::shared_ptr<ConnectionLinks> links, bool is_refused,
                                            std::function<void(Connection*)> on_closed);

/// An endpoint as a client writes it in Host: "127.0.0.1:8460", "[::1]:8460".
std::string host_text(const boost::asio::ip::tcp::endpoint& endpoint);

}  // namespace steadyglow::http
