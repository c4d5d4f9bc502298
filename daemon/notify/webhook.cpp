#include "notify/webhook.hpp"

#include <sodium.h>

#include <array>
#include <nlohmann/json.hpp>

#include "notify/transfer.hpp"

namespace steadyglow::notify {

std::string message_json(const Message& message, bool with_picture) {
  nlohmann::ordered_json json;
  json["id"] = message.id;
  json["purpose"] = to_word(message.purpose);
  json["priority"] = alarm::to_word(message.priority);
  json["advice"] = to_word(message.advice);
  json["person"] = message.person;
  json["incident"] = message.incident;
  json["utc"] = message.utc;
  json["subject"] = message.subject;
  json["text"] = message.text;
  json["link"] = message.link;
  auto facts = nlohmann::ordered_json::parse(message.facts, nullptr, false);
  json["facts"] = facts.is_discarded() ? nlohmann::ordered_json::object() : std::move(facts);
  if (with_picture && !message.picture.empty()) {
    std::string base64(sodium_base64_ENCODED_LEN(message.picture.size(), sodium_base64_VARIANT_ORIGINAL), '\0');
    sodium_bin2base64(base64.data(), base64.size(), reinterpret_cast<const unsigned char*>(message.picture.data()), message.picture.size(), sodium_base64_VARIANT_ORIGINAL);
    base64.pop_back();  // its terminator
    json["picture_png_base64"] = base64;
  }
  return json.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
}

std::string signature_of(const std::string& body, const std::string& secret) {
  crypto_auth_hmacsha256_state state;
  std::array<unsigned char, crypto_auth_hmacsha256_BYTES> sum{};
  crypto_auth_hmacsha256_init(&state, reinterpret_cast<const unsigned char*>(secret.data()), secret.size());
  crypto_auth_hmacsha256_update(&state, reinterpret_cast<const unsigned char*>(body.data()), body.size());
  crypto_auth_hmacsha256_final(&state, sum.data());
  std::array<char, 2 * crypto_auth_hmacsha256_BYTES + 1> hex{};
  sodium_bin2hex(hex.data(), hex.size(), sum.data(), sum.size());
  return hex.data();
}

Result<void> WebhookRoute::send(const Message& message) {
  Post post{settings_.url, settings_.ca_file, message_json(message, true), {"Idempotency-Key: " + message.id}};
  if (!settings_.secret.empty()) post.headers.push_back("X-Steadyglow-Signature: sha256=" + signature_of(post.body, settings_.secret));
  return post_json(post, is_aborted());
}

}  // namespace steadyglow::notify
