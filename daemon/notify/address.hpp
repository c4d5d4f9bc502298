#pragma once
/// Addresses of the configuration, taken apart by libcurl, so that what is checked is what is called.
#include <cstdint>
#include <optional>
#include <string>

namespace steadyglow::notify {

struct Address {
  std::string scheme;
  std::string host;         ///< of IPv6 in brackets
  std::uint16_t port = 0;   ///< 0: the scheme's own
  bool has_user = false;    ///< user@ or user:password@ stands in it
};

/// None where the text is no URL.
std::optional<Address> take_apart(const std::string& url);
/// Scheme, host and port: what may be shown. What follows may be a secret.
std::string host_of(const std::string& url);
/// This machine itself by its host: localhost, 127.0.0.0/8 (RFC 1122 3.2.1.3), ::1 (RFC 4291 2.5.3). No name is looked up.
bool is_loopback(const std::string& host);
/// local@domain without quotes, blanks, brackets or anything else that could become a command of the mail's envelope.
bool is_mail_address(const std::string& text);

}  // namespace steadyglow::notify
