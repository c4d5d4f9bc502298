#pragma once
/// A request and its answer as plain values, so that what is decided about them needs no HTTP library.
#include <chrono>
#include <functional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::http {

/// Header fields are empty when absent; `host` and `origin` say how often they came.
struct Request {
  std::string method;
  std::string target;
  std::string host;
  std::size_t host_count = 0;
  std::string origin;
  std::size_t origin_count = 0;
  std::string content_type;
  std::string authorization;
  std::string if_none_match;
  std::string last_event_id;
  std::string body;
  std::string reached_at;  ///< the address and port that this client connected to, as a Host value

  bool is_read_only() const { return method == "GET" || method == "HEAD"; }
};

struct Response {
  unsigned status = 200;
  std::string content_type;
  std::string text;
  std::string_view fixed;  ///< in place of text: static storage
  std::vector<std::pair<std::string, std::string>> fields;
  std::chrono::milliseconds hold{0};  ///< wait this long before answering
  bool is_stream = false;             ///< events follow for as long as the client stays

  std::string_view body() const { return fixed.empty() ? std::string_view(text) : fixed; }
};

/// Called once, on the loop.
using Reply = std::function<void(Response)>;

/// {"error", "hint"} with a status.
Response refusal(unsigned status, std::string message, std::string hint = {});

}  // namespace steadyglow::http
