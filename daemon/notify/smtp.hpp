#pragma once
#include "notify/address.hpp"
#include "notify/route.hpp"

namespace steadyglow::notify {

struct SmtpSettings {
  std::string url;       ///< smtp://host:port or smtps://host:port
  bool is_tls_required = true;
  std::string ca_file;   ///< of a server whose certificate is our own; empty: the system's
  std::string from;
  std::string to;
  std::string user;      ///< empty: none
  std::string password;
};

/// E-mail: RFC 5321, with a MIME body of plain text and a picture (RFC 2045), by libcurl.
class SmtpRoute : public Route {
 public:
  explicit SmtpRoute(SmtpSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override { return settings_.to + " by " + host_of(settings_.url); }
  std::string kind() const override { return "smtp"; }

 private:
  SmtpSettings settings_;
};

}  // namespace steadyglow::notify
