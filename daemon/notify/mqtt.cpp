#include "notify/mqtt.hpp"

#include <pthread.h>

#include <atomic>
#include <cerrno>
#include <condition_variable>
#include <csignal>
#include <mutex>
#include <optional>
#include <system_error>
#include <thread>

#include <mosquitto.h>

#include "notify/webhook.hpp"

namespace steadyglow::notify {
namespace {

using Clock = std::chrono::steady_clock;
constexpr int keep_alive_s = 10;
constexpr int loop_ms = 50;
constexpr std::chrono::milliseconds look_every{50};

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

Result<void> broken_off() { return fail(Fault::unavailable, "broken off because the program ends"); }

Result<void> set_up(mosquitto* client, const MqttSettings& settings) {
  if (!settings.user.empty())
    if (const int code = mosquitto_username_pw_set(client, settings.user.c_str(), settings.password.c_str()); code != 0) return failed("user", code);
  if (!settings.is_tls_required) return {};
  const int code = settings.ca_file.empty() ? mosquitto_int_option(client, MOSQ_OPT_TLS_USE_OS_CERTS, 1) : mosquitto_tls_set(client, settings.ca_file.c_str(), nullptr, nullptr, nullptr, nullptr);
  if (code != 0) return failed("TLS", code);
  return {};
}

}  // namespace

bool is_mqtt_topic(const std::string& topic) {
  return !topic.empty() && mosquitto_pub_topic_check2(topic.data(), topic.size()) == MOSQ_ERR_SUCCESS && mosquitto_validate_utf8(topic.data(), static_cast<int>(topic.size())) == MOSQ_ERR_SUCCESS;
}

/// One attempt. The library looks names up by getaddrinfo, which nothing can break off: so the attempt has a thread of its
/// own, and who waits for it does not wait longer than is said.
struct MqttRoute::Attempt {
  MqttSettings settings;
  std::string body;
  Clock::time_point until;
  std::atomic<bool> is_given_up{false};
  std::mutex mutex;
  std::condition_variable ends;
  std::optional<Result<void>> result;  // under mutex

  Result<void> publish() {
    Progress progress;
    const std::unique_ptr<mosquitto, FreeClient> client(mosquitto_new(nullptr, true, &progress));
    if (!client) return fail(Fault::unavailable, "no memory for an MQTT client");
    mosquitto_connect_callback_set(client.get(), [](mosquitto*, void* self, int code) {
      static_cast<Progress*>(self)->is_connected = code == 0;
      static_cast<Progress*>(self)->refused = code;
    });
    mosquitto_publish_callback_set(client.get(), [](mosquitto*, void* self, int) { static_cast<Progress*>(self)->is_confirmed = true; });
    if (auto is_set = set_up(client.get(), settings); !is_set) return is_set;
    const auto wait_for = [&](const bool& is_there) -> Result<void> {
      while (!is_there) {
        if (is_given_up) return broken_off();
        if (Clock::now() > until) return fail(Fault::unavailable, "the broker did not answer in time");
        const int code = mosquitto_loop(client.get(), loop_ms, 1);
        if (progress.refused != 0) return fail(Fault::unavailable, std::string("the broker refused: ") + mosquitto_connack_string(progress.refused));
        if (is_there) break;
        if (code != 0) return failed(progress.is_connected ? "connection lost" : "no connection", code);
      }
      return {};
    };
    if (const int code = mosquitto_connect_async(client.get(), settings.host.c_str(), settings.port, keep_alive_s); code != 0)
      return code == MOSQ_ERR_ERRNO ? fail(Fault::unavailable, "no connection: " + std::generic_category().message(errno)) : failed("no connection", code);
    if (auto connected = wait_for(progress.is_connected); !connected) return connected;
    if (const int code = mosquitto_publish(client.get(), nullptr, settings.topic.c_str(), static_cast<int>(body.size()), body.data(), 1, false); code != 0) return failed("not published", code);
    if (auto confirmed = wait_for(progress.is_confirmed); !confirmed) return confirmed;
    mosquitto_disconnect(client.get());
    mosquitto_loop(client.get(), 0, 1);
    return {};
  }

  void carry() {
    sigset_t signals;
    sigfillset(&signals);
    pthread_sigmask(SIG_BLOCK, &signals, nullptr);
    Result<void> done = publish();
    const std::lock_guard lock(mutex);
    result = std::move(done);
    ends.notify_all();
  }

  bool is_over() {
    const std::lock_guard lock(mutex);
    return result.has_value();
  }
};

std::string MqttRoute::where() const { return settings_.host + ":" + std::to_string(settings_.port) + " " + settings_.topic; }

Result<void> MqttRoute::send(const Message& message) {
  static std::once_flag once;
  std::call_once(once, [] { mosquitto_lib_init(); });
  if (last_ && !last_->is_over()) return fail(Fault::unavailable, "the name " + settings_.host + " is still being looked up");
  last_ = std::make_shared<Attempt>();
  last_->settings = settings_;
  last_->body = message_json(message, false);
  last_->until = Clock::now() + attempt_max;
  try {
    std::thread([attempt = last_] { attempt->carry(); }).detach();
  } catch (const std::system_error& error) {
    last_.reset();
    return fail(Fault::unavailable, std::string("no thread for an attempt: ") + error.what());
  }
  std::unique_lock lock(last_->mutex);
  while (!last_->result) {
    if (is_aborted() || Clock::now() > last_->until) last_->is_given_up = true;
    last_->ends.wait_for(lock, look_every);
    if (last_->result) break;
    if (is_aborted()) return broken_off();
    if (last_->is_given_up) return fail(Fault::unavailable, "the broker " + settings_.host + " did not answer in time");
  }
  return *last_->result;
}

}  // namespace steadyglow::notify
