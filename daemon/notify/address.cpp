#include "notify/address.hpp"

#include <arpa/inet.h>
#include <curl/curl.h>
#include <netinet/in.h>

#include <algorithm>
#include <memory>
#include <string_view>

#include "core/decimal.hpp"

namespace steadyglow::notify {
namespace {

struct FreeUrl {
  void operator()(CURLU* url) const { curl_url_cleanup(url); }
};

std::string part(CURLU* url, CURLUPart which) {
  char* text = nullptr;
  if (curl_url_get(url, which, &text, 0) != CURLUE_OK || text == nullptr) return {};
  const std::string copy = text;
  curl_free(text);
  return copy;
}

constexpr std::size_t mail_address_max = 254;  // RFC 5321 4.5.3.1.3, less the brackets

}  // namespace

std::optional<Address> take_apart(const std::string& text) {
  const std::unique_ptr<CURLU, FreeUrl> url(curl_url());
  // libcurl reads up to the first zero byte; what is behind it must not pass unseen.
  if (!url || text.find('\0') != std::string::npos || curl_url_set(url.get(), CURLUPART_URL, text.c_str(), 0) != CURLUE_OK) return std::nullopt;
  Address address;
  address.scheme = part(url.get(), CURLUPART_SCHEME);
  address.host = part(url.get(), CURLUPART_HOST);
  address.port = static_cast<std::uint16_t>(parse_decimal(part(url.get(), CURLUPART_PORT)).value_or(0.0));
  address.has_user = !part(url.get(), CURLUPART_USER).empty() || !part(url.get(), CURLUPART_PASSWORD).empty();
  if (address.host.empty()) return std::nullopt;
  return address;
}

std::string host_of(const std::string& url) {
  const auto address = take_apart(url);
  if (!address) return {};
  return address->scheme + "://" + address->host + (address->port == 0 ? "" : ":" + std::to_string(address->port));
}

bool is_loopback(const std::string& host) {
  if (host == "localhost") return true;
  in_addr four{};
  if (inet_pton(AF_INET, host.c_str(), &four) == 1) return ntohl(four.s_addr) >> 24 == 127;
  const bool is_bracketed = host.size() > 2 && host.front() == '[' && host.back() == ']';
  const std::string bare = is_bracketed ? host.substr(1, host.size() - 2) : host;
  in6_addr six{};
  return inet_pton(AF_INET6, bare.c_str(), &six) == 1 && IN6_IS_ADDR_LOOPBACK(&six);
}

bool is_mail_address(const std::string& text) {
  const std::size_t at = text.find('@');
  if (at == std::string::npos || at == 0 || at + 1 == text.size() || text.rfind('@') != at || text.size() > mail_address_max) return false;
  constexpr std::string_view never = "<>()[]\\,;:\"";
  return std::all_of(text.begin(), text.end(), [&](unsigned char c) { return c > 0x20 && c < 0x7f && never.find(static_cast<char>(c)) == std::string_view::npos; });
}

}  // namespace steadyglow::notify
