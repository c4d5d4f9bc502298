#include "http/guard.hpp"

#include <algorithm>
#include <string_view>

#include "http/target.hpp"

namespace steadyglow::http {
namespace {

std::string lower(std::string text) {
  for (char& c : text)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return text;
}

/// The media type without its parameters.
std::string media_type(const std::string& content_type) {
  std::string type = lower(content_type.substr(0, content_type.find(';')));
  while (!type.empty() && (type.back() == ' ' || type.back() == '\t')) type.pop_back();
  return type;
}

constexpr std::uint16_t http_port = 80;  // RFC 9110 4.2.1: clients leave it out of Host

}  // namespace

Guard::Guard(std::uint16_t port, std::vector<std::string> allowed_hosts) {
  for (const char* name : {"localhost", "127.0.0.1", "[::1]"}) {
    hosts_.push_back(std::string(name) + ":" + std::to_string(port));
    if (port == http_port) hosts_.emplace_back(name);
  }
  for (std::string& host : allowed_hosts) hosts_.push_back(lower(std::move(host)));
}

bool Guard::is_ours(const std::string& host, const std::string& reached_at) const {
  return host == reached_at || host + ":80" == reached_at || std::find(hosts_.begin(), hosts_.end(), host) != hosts_.end();
}

std::optional<Response> Guard::refuse(const Request& request) const {
  if (request.host_count != 1) return refusal(400, "a request needs one Host");
  const std::string host = lower(request.host);
  if (!is_ours(host, request.reached_at))
    return refusal(421, "this host is not served here", "use the address that the daemon says it listens at, or name the host in allowed_hosts");
  if (request.origin_count > 1) return refusal(400, "a request has at most one Origin");
  if (request.origin_count == 1) {
    const std::string origin = lower(request.origin);
    if (origin != "http://" + host && origin != "https://" + host) return refusal(403, "another site's page may not ask here");
  }
  if (request.is_read_only()) return std::nullopt;
  if (request.method != "POST") {
    Response response = refusal(405, "this method is not served here");
    response.fields.emplace_back("Allow", "GET, HEAD, POST");
    return response;
  }
  // No page of another site can send these three without asking first (WHATWG Fetch, "CORS-safelisted request-header").
  const std::string type = media_type(request.content_type);
  if (is_photo_address(request.target)) {
    if (type != "image/jpeg" && type != "image/png") return refusal(415, "a photo needs Content-Type: image/jpeg or image/png");
    return std::nullopt;
  }
  if (type != "application/json") return refusal(415, "a POST needs Content-Type: application/json");
  return std::nullopt;
}

}  // namespace steadyglow::http
