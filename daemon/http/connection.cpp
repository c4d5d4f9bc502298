#include "http/connection.hpp"

#include <boost/asio/buffer.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/error.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/serializer.hpp>
#include <boost/beast/http/span_body.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <fmt/chrono.h>

#include <array>
#include <charconv>
#include <ctime>
#include <optional>

#include "http/target.hpp"

namespace steadyglow::http {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace bhttp = boost::beast::http;
using Tcp = asio::ip::tcp;
using Code = boost::system::error_code;
using Body = bhttp::span_body<const char>;

/// One read of the first bytes; a header may come in several.
constexpr std::size_t first_read_bytes = 4096;
constexpr std::size_t buffer_bytes_max = header_bytes_max + body_bytes_max;
constexpr const char* comment = ": still here\n\n";
/// A browser comes back to a stream after this long (WHATWG HTML 9.2.6, "retry").
constexpr const char* retry_line = "retry: 2000\n\n";

std::string header_date() {
  // RFC 9110 5.6.7; fmt names days and months in English whatever the locale.
  return fmt::format("{:%a, %d %b %Y %H:%M:%S GMT}", fmt::gmtime(std::time(nullptr)));
}

std::optional<std::uint64_t> read_event_id(const std::string& text) {
  std::uint64_t id = 0;
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), id);
  if (status != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return id;
}

class HttpConnection final : public Connection, public std::enable_shared_from_this<HttpConnection> {
 public:
  HttpConnection(Tcp::socket socket, std::shared_ptr<ConnectionLinks> links, bool is_refused, std::function<void(Connection*)> on_closed)
      : socket_(std::move(socket)),
        timer_(socket_.get_executor()),
        links_(std::move(links)),
        is_refused_(is_refused),
        on_closed_(std::move(on_closed)),
        listener_([this] { write_event(); }, [this] { drop_slow(); }) {}

  void begin() override {
    Code error;
    socket_.set_option(Tcp::no_delay(true), error);
    const auto local = socket_.local_endpoint(error);
    if (error) return close();
    reached_at_ = host_text(local);
    await_request();
  }

  void close() override {
    if (is_closed_) return;
    is_closed_ = true;
    Code ignored;
    timer_.cancel();
    socket_.close(ignored);
    let_go_of_photo();
    if (is_streaming_) links_->stream.detach(listener_);
    on_closed_(this);
  }

 private:
  // ---- deadlines: one timer, one meaning at a time ----

  /// Calls `late` unless something else is due by then. Nothing is called after close().
  void due(std::chrono::milliseconds after, void (HttpConnection::*late)()) {
    timer_.expires_after(after);
    timer_.async_wait([self = shared_from_this(), late](const Code& error) {
      // An expiry that was already on its way when the timer was set again is not meant any more.
      if (error || self->is_closed_ || self->timer_.expiry() > std::chrono::steady_clock::now()) return;
      (self.get()->*late)();
    });
  }

  // ---- reading a request ----

  void await_request() {
    parser_.emplace();
    parser_->header_limit(header_bytes_max);
    // Which of the two it is, the header tells.
    parser_->body_limit(photo_bytes_max);
    if (buffer_.size() > 0) return read_header();
    due(links_->deadlines.idle, &HttpConnection::close_late);
    socket_.async_read_some(buffer_.prepare(first_read_bytes), [self = shared_from_this()](const Code& error, std::size_t bytes) {
      if (self->is_closed_) return;
      if (error) return self->close();
      self->buffer_.commit(bytes);
      self->read_header();
    });
  }

  void read_header() {
    due(links_->deadlines.read, &HttpConnection::answer_too_slow);
    bhttp::async_read_header(socket_, buffer_, *parser_, [self = shared_from_this()](const Code& error, std::size_t) {
      if (self->is_closed_ || self->is_answering_) return;
      if (error) return self->answer_unreadable(error);
      if (self->is_photo() ? !self->take_photo() : !self->is_short()) return;
      if (beast::iequals(self->parser_->get()[bhttp::field::expect], "100-continue")) return self->write_continue();
      self->read_body();
    });
  }

  bool is_photo() const { return parser_->get().method() == bhttp::verb::post && is_photo_address(std::string_view(parser_->get().target().data(), parser_->get().target().size())); }

  /// Otherwise it is answered.
  bool is_short() {
    parser_->body_limit(body_bytes_max);
    if (parser_->content_length().value_or(0) <= body_bytes_max) return true;
    answer_unreadable(bhttp::error::body_limit);
    return false;
  }

  bool take_photo() {
    if (links_->photos_at_once >= photos_at_once_max) {
      keeps_alive_ = false;
      write(refusal(503, "too many photos are being sent", "send it again in a moment"));
      return false;
    }
    ++links_->photos_at_once;
    holds_photo_ = true;
    due(links_->deadlines.photo, &HttpConnection::answer_too_slow);
    return true;
  }

  void let_go_of_photo() {
    if (std::exchange(holds_photo_, false)) --links_->photos_at_once;
  }

  void write_continue() {
    static constexpr std::string_view go_on = "HTTP/1.1 100 Continue\r\n\r\n";
    asio::async_write(socket_, asio::buffer(go_on), [self = shared_from_this()](const Code& error, std::size_t) {
      if (self->is_closed_ || self->is_answering_) return;
      if (error) return self->close();
      self->read_body();
    });
  }

  void read_body() {
    bhttp::async_read(socket_, buffer_, *parser_, [self = shared_from_this()](const Code& error, std::size_t) {
      if (self->is_closed_ || self->is_answering_) return;
      if (error) return self->answer_unreadable(error);
      self->answer();
    });
  }

  void answer_unreadable(const Code& error) {
    keeps_alive_ = false;
    if (error == bhttp::error::end_of_stream || error == bhttp::error::partial_message) return close();
    if (error == bhttp::error::header_limit || error == bhttp::error::buffer_overflow) return write(refusal(431, "the header is too long"));
    if (error == bhttp::error::body_limit) return write(refusal(413, is_photo() ? "the photo is larger than 8 MiB" : "the body is longer than 64 KiB"));
    if (error.category() == bhttp::make_error_code(bhttp::error::bad_method).category()) return write(refusal(400, "this is no HTTP/1.1 request"));
    close();
  }

  void close_late() { close(); }

  void answer_too_slow() {
    keeps_alive_ = false;
    write(refusal(408, "the request took too long"));
  }

  // ---- answering ----

  void answer() {
    auto message = parser_->release();
    is_head_ = message.method() == bhttp::verb::head;
    keeps_alive_ = message.keep_alive();
    if (is_refused_) {
      keeps_alive_ = false;
      Response busy = refusal(503, "too many connections are open", "close another page, or try again in a moment");
      busy.fields.emplace_back("Retry-After", "5");
      return write(std::move(busy));
    }
    const auto field = [&](bhttp::field name) { return std::string(message[name]); };
    Request request;
    request.method = std::string(message.method_string());
    request.target = std::string(message.target());
    request.host = field(bhttp::field::host);
    request.host_count = message.count(bhttp::field::host);
    request.origin = field(bhttp::field::origin);
    request.origin_count = message.count(bhttp::field::origin);
    request.content_type = field(bhttp::field::content_type);
    request.authorization = field(bhttp::field::authorization);
    request.if_none_match = field(bhttp::field::if_none_match);
    request.last_event_id = std::string(message["Last-Event-ID"]);
    request.body = std::move(message.body());
    request.reached_at = reached_at_;
    last_event_id_ = request.last_event_id;

    is_waiting_ = true;
    due(links_->deadlines.answer, &HttpConnection::answer_not_ready);
    // A reply that comes after its deadline finds another number, and is dropped.
    const auto reply = [self = shared_from_this(), number = ++request_number_](Response response) {
      if (self->is_closed_ || !self->is_waiting_ || self->request_number_ != number) return;
      self->is_waiting_ = false;
      self->take(std::move(response));
    };
    links_->answer(std::move(request), reply);
  }

  void answer_not_ready() {
    is_waiting_ = false;
    write(refusal(503, "there was no answer in time", "ask for less, or again in a moment"));
  }

  void take(Response response) {
    if (response.hold.count() == 0) return write(std::move(response));
    const auto hold = std::exchange(response.hold, std::chrono::milliseconds{0});
    held_ = std::move(response);
    due(hold, &HttpConnection::write_held);
  }

  void write_held() { write(std::move(held_)); }

  void write(Response response) {
    is_answering_ = true;
    let_go_of_photo();
    response_ = std::move(response);
    count(response_.status);
    const bool has_body = response_.status != 304;
    auto& message = message_.emplace();
    message.version(11);
    message.result(response_.status);
    message.set(bhttp::field::date, header_date());
    if (!response_.content_type.empty()) message.set(bhttp::field::content_type, response_.content_type);
    message.set(bhttp::field::cache_control, "no-store");
    message.set("Content-Security-Policy", "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'");
    message.set("X-Content-Type-Options", "nosniff");
    message.set("Referrer-Policy", "no-referrer");
    for (const auto& [name, value] : response_.fields) message.set(name, value);
    message.keep_alive(keeps_alive_ && !response_.is_stream);
    if (has_body && !response_.is_stream) {
      const auto body = response_.body();
      message.content_length(body.size());
      message.body() = Body::value_type(body.data(), body.size());
    }
    serializer_.emplace(message);
    due(links_->deadlines.write, &HttpConnection::close_late);
    const auto done = [self = shared_from_this()](const Code& error, std::size_t) { self->written(error); };
    if (is_head_ || !has_body || response_.is_stream) bhttp::async_write_header(socket_, *serializer_, done);
    else bhttp::async_write(socket_, *serializer_, done);
  }

  void written(const Code& error) {
    if (is_closed_) return;
    if (error) return close();
    if (response_.is_stream && !is_head_) return begin_stream();
    if (response_.is_stream || !keeps_alive_) return close_politely();
    is_answering_ = false;
    is_head_ = false;
    await_request();
  }

  void count(unsigned status) {
    ServerFigures& figures = links_->figures;
    ++(status >= 500 ? figures.answers_5xx : status >= 400 ? figures.answers_4xx : figures.answers_2xx);
  }

  // ---- the end: a client that still sends would lose our last answer if we just closed (RFC 9112 9.6) ----

  void close_politely() {
    Code error;
    socket_.shutdown(Tcp::socket::shutdown_send, error);
    if (error) return close();
    due(linger, &HttpConnection::close_late);
    drain();
  }

  void drain() {
    socket_.async_read_some(asio::buffer(drained_), [self = shared_from_this()](const Code& error, std::size_t bytes) {
      if (self->is_closed_) return;
      self->drained_bytes_ += bytes;
      if (error || self->drained_bytes_ > linger_bytes_max) return self->close();
      self->drain();
    });
  }

  // ---- the stream ----

  void begin_stream() {
    is_streaming_ = true;
    outgoing_ = std::make_shared<const std::string>(retry_line);
    write_outgoing();
    links_->stream.attach(listener_, read_event_id(last_event_id_));
    drain();  // a client of a stream has nothing more to say; its going away is what we hear
  }

  void write_event() {
    if (is_closed_ || outgoing_) return;
    const auto event = listener_.pop();
    if (!event) return due(links_->deadlines.keep_alive, &HttpConnection::write_comment);
    outgoing_ = event->text;
    write_outgoing();
  }

  void write_comment() {
    if (outgoing_) return;
    outgoing_ = std::make_shared<const std::string>(comment);
    write_outgoing();
  }

  void write_outgoing() {
    due(links_->deadlines.write, &HttpConnection::drop_slow);
    asio::async_write(socket_, asio::buffer(*outgoing_), [self = shared_from_this()](const Code& error, std::size_t) {
      if (self->is_closed_) return;
      if (error) return self->close();
      self->outgoing_.reset();
      self->write_event();
    });
  }

  void drop_slow() {
    if (is_closed_) return;
    ++links_->figures.dropped_stream_clients;
    close();
  }

  Tcp::socket socket_;
  asio::steady_timer timer_;
  std::shared_ptr<ConnectionLinks> links_;
  const bool is_refused_;
  std::function<void(Connection*)> on_closed_;
  std::string reached_at_;

  beast::flat_buffer buffer_{buffer_bytes_max};
  std::optional<bhttp::request_parser<bhttp::string_body>> parser_;
  std::uint64_t request_number_ = 0;
  std::string last_event_id_;
  bool is_head_ = false;
  bool keeps_alive_ = true;
  bool is_waiting_ = false;    ///< for the answer
  bool is_answering_ = false;  ///< from the first byte of the answer to the last
  bool is_streaming_ = false;
  bool is_closed_ = false;
  bool holds_photo_ = false;   ///< counted in links_->photos_at_once

  Response held_;
  Response response_;  ///< owns what message_ points into
  std::optional<bhttp::response<Body>> message_;
  std::optional<bhttp::response_serializer<Body>> serializer_;

  Listener listener_;
  std::shared_ptr<const std::string> outgoing_;  ///< being written
  std::array<char, 1024> drained_{};
  std::size_t drained_bytes_ = 0;
};

}  // namespace

std::string host_text(const Tcp::endpoint& endpoint) {
  auto address = endpoint.address();
  if (address.is_v6() && address.to_v6().is_v4_mapped()) address = asio::ip::make_address_v4(asio::ip::v4_mapped, address.to_v6());
  const std::string text = address.is_v6() ? "[" + address.to_string() + "]" : address.to_string();
  return text + ":" + std::to_string(endpoint.port());
}

std::shared_ptr<Connection> make_connection(Tcp::socket socket, std::shared_ptr<ConnectionLinks> links, bool is_refused,
                                            std::function<void(Connection*)> on_closed) {
  return std::make_shared<HttpConnection>(std::move(socket), std::move(links), is_refused, std::move(on_closed));
}

}  // namespace steadyglow::http
