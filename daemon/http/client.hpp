#pragma once
/// One request to a running daemon, for the command line.
#include <chrono>
#include <cstdint>
#include <string>

#include "core/result.hpp"

namespace steadyglow::http {

struct Answer {
  unsigned status = 0;
  std::string content_type;
  std::string body;
};

inline constexpr std::size_t answer_bytes_max = 32 * 1024 * 1024;

/// Asks and waits, at most `deadline` in all (looking a name up may take the system longer). A body goes as
/// `content_type`; an empty password sends no Authorization.
/// Any HTTP status is an answer. Errors: unavailable (nobody listens, no answer in time, name unknown),
/// bad_data (what answers is no HTTP, or too long).
Result<Answer> ask(const std::string& host, std::uint16_t port, const std::string& method, const std::string& target,
                   const std::string& body, const std::string& password,
                   std::chrono::milliseconds deadline = std::chrono::seconds{10}, const std::string& content_type = "application/json");

}  // namespace steadyglow::http
