#include "http/client.hpp"

#include <boost/asio/connect.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/http/write.hpp>
#include <sodium.h>

#include <optional>

namespace steadyglow::http {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace bhttp = boost::beast::http;
using Code = boost::system::error_code;

std::string base64(const std::string& text) {
  std::string encoded(sodium_base64_encoded_len(text.size(), sodium_base64_VARIANT_ORIGINAL), '\0');
  sodium_bin2base64(encoded.data(), encoded.size(), reinterpret_cast<const unsigned char*>(text.data()), text.size(), sodium_base64_VARIANT_ORIGINAL);
  encoded.resize(encoded.find('\0'));
  return encoded;
}

/// One request on a loop of its own; lives on the stack of ask().
class Call {
 public:
  Call(std::string where, bhttp::request<bhttp::string_body> request) : where_(std::move(where)), request_(std::move(request)) {
    parser_.body_limit(answer_bytes_max);
    if (request_.method() == bhttp::verb::head) parser_.skip(true);
  }

  Result<Answer> run(const std::string& host, std::uint16_t port, std::chrono::milliseconds deadline) {
    Code error;
    const auto endpoints = asio::ip::tcp::resolver(loop_).resolve(host, std::to_string(port), error);
    if (error) return fail(Fault::unavailable, "the name `" + host + "` is unknown: " + error.message(), {}, where_);
    stream_.expires_after(deadline);
    stream_.async_connect(endpoints, [this](const Code& code, const asio::ip::tcp::endpoint&) {
      if (code) return done(code);
      is_connected_ = true;
      bhttp::async_write(stream_, request_, [this](const Code& sent, std::size_t) {
        // A server that refuses may answer and close before it has read all: its answer counts.
        if (sent && sent != asio::error::broken_pipe && sent != asio::error::connection_reset) return done(sent);
        bhttp::async_read(stream_, buffer_, parser_, [this](const Code& read, std::size_t) { done(read); });
      });
    });
    loop_.run();
    if (error_) return trouble();
    const auto& message = parser_.get();
    return Answer{message.result_int(), std::string(message[bhttp::field::content_type]), message.body()};
  }

 private:
  void done(const Code& error) { error_ = error; }

  tl::unexpected<Error> trouble() const {
    if (error_ == beast::error::timeout) return fail(Fault::unavailable, "no answer in time", "is steadyglowd busy or stopped?", where_);
    if (error_.category() == bhttp::make_error_code(bhttp::error::bad_version).category()) {
      if (error_ == bhttp::error::end_of_stream) return fail(Fault::unavailable, "the line was closed without an answer", "is steadyglowd stopping?", where_);
      return fail(Fault::bad_data, "what answers there is no web server we understand: " + error_.message(), "is another program listening there?", where_);
    }
    if (!is_connected_) return fail(Fault::unavailable, "nobody answers: " + error_.message(), "is steadyglowd running?", where_);
    return fail(Fault::unavailable, "the line broke: " + error_.message(), "is steadyglowd stopping?", where_);
  }

  std::string where_;
  asio::io_context loop_;
  beast::tcp_stream stream_{loop_};
  bhttp::request<bhttp::string_body> request_;
  bhttp::response_parser<bhttp::string_body> parser_;
  beast::flat_buffer buffer_;
  Code error_;
  bool is_connected_ = false;
};

}  // namespace

Result<Answer> ask(const std::string& host, std::uint16_t port, const std::string& method, const std::string& target, const std::string& body,
                   const std::string& password, std::chrono::milliseconds deadline, const std::string& content_type) {
  const bool is_v6 = host.find(':') != std::string::npos;
  const std::string where = (is_v6 ? "[" + host + "]" : host) + ":" + std::to_string(port);
  const auto verb = bhttp::string_to_verb(method);
  if (verb == bhttp::verb::unknown) return fail(Fault::usage, "`" + method + "` is no method");
  bhttp::request<bhttp::string_body> request{verb, target, 11};
  request.set(bhttp::field::host, port == 80 ? where.substr(0, where.rfind(':')) : where);
  request.set(bhttp::field::user_agent, "steadyglow");
  request.keep_alive(false);
  if (!password.empty()) request.set(bhttp::field::authorization, "Basic " + base64(":" + password));
  if (verb == bhttp::verb::post) request.set(bhttp::field::content_type, content_type);
  request.body() = body;
  request.prepare_payload();
  return Call(where, std::move(request)).run(host, port, deadline);
}

}  // namespace steadyglow::http
