#include "notify/mqtt.hpp"

#include <mosquitto.h>

#include <memory>
#include <mutex>

#include "notify/webhook.hpp"

namespace steadyglow::notify {
namespace {

using Clock = std::chrono::steady_clock;
constexpr int keep_alive_s = 10;
constexpr int loop_ms = 50;

struct FreeClient {
  void operator()(mosquitto* client) const { mosquitto_destroy(client); }
};

/// What the broker said so far.
struct Progress {
  bool is_connected = false;
  int refused = 0;
  bool is_confirmed = false;
};

Result<void> failed(const std::string& what, int code) { return fail(Fault::unavailable, what + ": " + mosquitto_strerror(code)); }

}  // namespace

Result<void> MqttRoute::send(const Message& message) {
  static std::once_flag once;
  std::call_once(once, [] { mosquitto_lib_init(); });
  Progress progress;
  const std::unique_ptr<mosquitto, FreeClient> client(mosquitto_new(nullptr, true, &progress));
  if (!client) return fail(Fault::unavailable, "no memory for an MQTT client");
  mosquitto_connect_callback_set(client.get(), [](mosquitto*, void* self, int code) {
    static_cast<Progress*>(self)->is_connected = code == 0;
    static_cast<Progress*>(self)->refused = code;
  });
  mosquitto_publish_callback_set(client.get(), [](mosquitto*, void* self, int) { static_cast<Progress*>(self)->is_confirmed = true; });
  if (!settings_.user.empty()) mosquitto_username_pw_set(client.get(), settings_.user.c_str(), settings_.password.c_str());
  if (!settings_.ca_file.empty())
    if (const int code = mosquitto_tls_set(client.get(), settings_.ca_file.c_str(), nullptr, nullptr, nullptr, nullptr); code != 0) return failed("TLS", code);
  const auto until = Clock::now() + attempt_max;
  const auto wait_for = [&](const bool& is_there) -> Result<void> {
    while (!is_there) {
      if (is_aborted()) return fail(Fault::unavailable, "broken off because the program ends");
      if (Clock::now() > until) return fail(Fault::unavailable, "the broker did not answer in time");
      if (progress.refused != 0) return fail(Fault::unavailable, std::string("the broker refused: ") + mosquitto_connack_string(progress.refused));
      if (const int code = mosquitto_loop(client.get(), loop_ms, 1); code != 0) return failed("connection lost", code);
    }
    return {};
  };
  if (const int code = mosquitto_connect_async(client.get(), settings_.host.c_str(), settings_.port, keep_alive_s); code != 0) return failed("no connection", code);
  if (auto connected = wait_for(progress.is_connected); !connected) return connected;
  const std::string body = message_json(message, false);
  if (const int code = mosquitto_publish(client.get(), nullptr, settings_.topic.c_str(), static_cast<int>(body.size()), body.data(), 1, false); code != 0) return failed("not published", code);
  if (auto confirmed = wait_for(progress.is_confirmed); !confirmed) return confirmed;
  mosquitto_disconnect(client.get());
  mosquitto_loop(client.get(), 0, 1);
  return {};
}

}  // namespace steadyglow::notify
