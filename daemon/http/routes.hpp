#pragma once
/// Which request asks for what: the table of API.md. Who may ask was settled before (guard, password).
#include <functional>

#include <boost/asio/io_context.hpp>

#include "http/exchange.hpp"
#include "http/server.hpp"
#include "http/target.hpp"

namespace steadyglow::http {

inline constexpr std::size_t who_bytes_max = 80;
inline constexpr std::size_t note_bytes_max = 1000;

/// Thread: loop only. Answers later, by `reply`, for history, documents and photos alone.
class Routes {
 public:
  Routes(boost::asio::io_context& loop, Backend backend, std::function<ServerFigures()> figures);
  void handle(const Request& request, Reply reply) const;

 private:
  void history(const std::string& unit, const Target& target, Reply reply) const;
  void document(const std::vector<std::string>& parts, const Target& target, Reply reply) const;
  void make(DocumentRequest request, const Target& target, Reply reply) const;
  void photo(const std::string& card, const Target& target, const Request& request, Reply reply) const;
  Response read(const Target& target, const Request& request) const;
  Response health() const;
  Response asset(const std::string& path, const std::string& if_none_match) const;

  boost::asio::io_context& loop_;
  Backend backend_;
  std::function<ServerFigures()> figures_;
};

}  // namespace steadyglow::http
