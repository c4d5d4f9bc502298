#pragma once
/// Who may speak to us at all: our own Host, our own Origin, and state changes only as JSON by POST.
/// A page of another site can make a browser send requests here; these three checks keep it from doing anything
/// (RFC 9110 7.2 and 7.4 for Host and 421, RFC 6454 for Origin; DNS rebinding fails at Host).
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "http/exchange.hpp"

namespace steadyglow::http {

class Guard {
 public:
  /// Ours: the address a client reached, the names of this machine to itself with `port`, and `allowed_hosts` as given.
  Guard(std::uint16_t port, std::vector<std::string> allowed_hosts);
  /// Nothing when the request may go on; else 400, 403, 405, 415 or 421.
  std::optional<Response> refuse(const Request& request) const;

 private:
  bool is_ours(const std::string& host, const std::string& reached_at) const;
  std::vector<std::string> hosts_;  ///< lower case
};

}  // namespace steadyglow::http
