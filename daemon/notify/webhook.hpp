#pragma once
#include "notify/route.hpp"

namespace steadyglow::notify {

struct WebhookSettings {
  std::string url;
  std::string secret;  ///< empty: bodies are not signed
};

/// POSTs the message as JSON. `Idempotency-Key` is the message's id: a body that comes twice is the same message. With a
/// secret, `X-Steadyglow-Signature` is "sha256=" and the HMAC-SHA-256 (RFC 2104) of the body in hexadecimal.
class WebhookRoute : public Route {
 public:
  explicit WebhookRoute(WebhookSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override;
  std::string kind() const override { return "webhook"; }

 private:
  WebhookSettings settings_;
};

/// The message as one JSON object; the picture in base64.
std::string message_json(const Message& message, bool with_picture);
std::string signature_of(const std::string& body, const std::string& secret);
/// Host and port of a URL: what may be shown.
std::string host_of(const std::string& url);

}  // namespace steadyglow::notify
