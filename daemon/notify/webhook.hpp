#pragma once
#include "notify/address.hpp"
#include "notify/route.hpp"

namespace steadyglow::notify {

struct WebhookSettings {
  std::string url;
  std::string ca_file;  ///< of a server whose certificate is our own; empty: the system's
  std::string secret;   ///< empty: bodies are not signed
};

/// POSTs the message as JSON. `Idempotency-Key` is the message's id: a body that comes twice is the same message. With a
/// secret, `X-Steadyglow-Signature` is "sha256=" and the HMAC-SHA-256 (RFC 2104) of the body in hexadecimal.
class WebhookRoute : public Route {
 public:
  explicit WebhookRoute(WebhookSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override { return host_of(settings_.url); }
  std::string kind() const override { return "webhook"; }

 private:
  WebhookSettings settings_;
};

/// The message as one JSON object; the picture in base64.
std::string message_json(const Message& message, bool with_picture);
/// HMAC-SHA-256 (RFC 2104, RFC 4231) in hexadecimal.
std::string signature_of(const std::string& body, const std::string& secret);

}  // namespace steadyglow::notify
