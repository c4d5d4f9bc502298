#include "drivers/mqtt/broker.hpp"

#include <poll.h>

#include <algorithm>
#include <cerrno>
#include <mutex>
#include <system_error>
#include <utility>

#include <mosquitto.h>

#include "drivers/mqtt/payload.hpp"

namespace steadyglow::drivers::mqtt {
namespace {

using std::chrono::milliseconds;

constexpr milliseconds reconnect_pause{250};
/// Waits are cut here, so that keep-alives go out.
constexpr milliseconds wait_max{100};
/// A topic that floods us is left at this many packets, or when the time of the call is up; what is older than it may be then shows as stale.
constexpr int packets_per_drain_max = 5000;
constexpr int refused_subscription = 128;

int left(Deadline until) {
  const auto wait = std::chrono::ceil<milliseconds>(until - Clock::now());
  return static_cast<int>(std::clamp(wait, milliseconds{0}, wait_max).count());
}

std::string words_of(int code) { return code == MOSQ_ERR_ERRNO ? std::generic_category().message(errno) : std::string(mosquitto_strerror(code)); }

}  // namespace

void prepare_library() {
  static std::once_flag once;
  std::call_once(once, [] { mosquitto_lib_init(); });
}

bool is_topic(const std::string& topic) {
  return !topic.empty() && mosquitto_pub_topic_check2(topic.data(), topic.size()) == MOSQ_ERR_SUCCESS && mosquitto_validate_utf8(topic.data(), static_cast<int>(topic.size())) == MOSQ_ERR_SUCCESS;
}

void Broker::FreeClient::operator()(mosquitto* client) const { mosquitto_destroy(client); }

Broker::Broker(BrokerSettings settings, std::vector<std::string> topics, std::function<void(const Message&)> on_message, BusCounters& counters)
    : settings_(std::move(settings)), topics_(std::move(topics)), on_message_(std::move(on_message)), counters_(counters) {
  prepare_library();
}

Broker::~Broker() {
  if (client_ && is_connected_) mosquitto_disconnect(client_.get());
}

void Broker::drop(std::string why) {
  client_.reset();
  is_connected_ = false;
  trouble_ = std::move(why);
}

bool Broker::failed(const std::string& what, int code) {
  drop(what + ": " + words_of(code));
  return false;
}

bool Broker::set_up() {
  mosquitto* client = client_.get();
  // An order must not wait in the socket until what was sent before it is acknowledged.
  if (const int code = mosquitto_int_option(client, MOSQ_OPT_TCP_NODELAY, 1); code != 0) return failed("no delay", code);
  if (!settings_.user.empty())
    if (const int code = mosquitto_username_pw_set(client, settings_.user.c_str(), settings_.password.c_str()); code != 0) return failed("user", code);
  if (settings_.is_tls_required) {
    const int code = settings_.ca_file.empty() ? mosquitto_int_option(client, MOSQ_OPT_TLS_USE_OS_CERTS, 1) : mosquitto_tls_set(client, settings_.ca_file.c_str(), nullptr, nullptr, nullptr, nullptr);
    if (code != 0) return failed("TLS", code);
  }
  mosquitto_connect_callback_set(client, [](mosquitto*, void* self, int code) {
    static_cast<Broker*>(self)->is_connected_ = code == 0;
    static_cast<Broker*>(self)->refused_ = code;
  });
  mosquitto_publish_callback_set(client, [](mosquitto*, void* self, int id) { static_cast<Broker*>(self)->confirmed_.insert(id); });
  mosquitto_subscribe_callback_set(client, [](mosquitto*, void* self, int, int count, const int* granted) {
    auto& broker = *static_cast<Broker*>(self);
    if (broker.open_subscriptions_ > 0) --broker.open_subscriptions_;
    if (std::any_of(granted, granted + count, [](int grant) { return grant >= refused_subscription; })) broker.refused_topic_trouble_ = "the broker refuses one of the topics";
  });
  mosquitto_message_callback_set(client, [](mosquitto*, void* self, const mosquitto_message* message) { static_cast<Broker*>(self)->take(*message); });
  return true;
}

void Broker::take(const mosquitto_message& message) {
  const auto size = static_cast<std::size_t>(std::max(message.payloadlen, 0));
  if (size > payload_bytes_max) ++counters_.garbage;
  on_message_({message.topic, {static_cast<const char*>(message.payload), size}, message.retain, last_empty_});
}

/// A new client each time: the library would send again what an old one had not got confirmed.
bool Broker::begin(Deadline until) {
  last_attempt_ = Clock::now();
  refused_ = 0;
  is_connected_ = false;
  open_subscriptions_ = 0;
  confirmed_.clear();
  refused_topic_trouble_.clear();
  client_.reset(mosquitto_new(nullptr, true, this));
  if (!client_) return failed("no client", MOSQ_ERR_NOMEM);
  if (!set_up()) return false;
  if (session_ > 0) ++counters_.reconnects;
  ++session_;
  last_empty_ = Clock::now();
  if (const int code = mosquitto_connect_async(client_.get(), settings_.host.c_str(), settings_.port, static_cast<int>(keep_alive.count())); code != 0) return failed("no connection", code);
  while (!is_connected_) {
    if (Clock::now() >= until) {
      ++counters_.timeouts;
      drop("the broker does not answer");
      return false;
    }
    if (!turn(until)) return false;
    if (refused_ != 0) {
      ++counters_.refusals;
      drop(std::string("the broker refused: ") + mosquitto_connack_string(refused_));
      return false;
    }
  }
  open_subscriptions_ = topics_.size();
  for (const std::string& topic : topics_)
    if (const int code = mosquitto_subscribe(client_.get(), nullptr, topic.c_str(), 1); code != 0) return failed("not subscribed", code);
  while (open_subscriptions_ > 0) {
    if (Clock::now() >= until) {
      ++counters_.timeouts;
      drop("the broker does not confirm the topics");
      return false;
    }
    if (!turn(until)) return false;
  }
  trouble_ = refused_topic_trouble_;
  return true;
}

bool Broker::turn(Deadline until) {
  if (!client_) return false;
  pollfd look{mosquitto_socket(client_.get()), static_cast<short>(POLLIN | (mosquitto_want_write(client_.get()) ? POLLOUT : 0)), 0};
  if (look.fd < 0) return failed("connection lost", MOSQ_ERR_CONN_LOST);
  const auto before = Clock::now();
  const int ready = ::poll(&look, 1, left(until));
  if (ready < 0 && errno != EINTR) return failed("connection lost", MOSQ_ERR_ERRNO);
  was_quiet_ = (look.revents & (POLLIN | POLLERR | POLLHUP)) == 0;
  if (was_quiet_) last_empty_ = before;
  int code = MOSQ_ERR_SUCCESS;
  if ((look.revents & POLLOUT) != 0) code = mosquitto_loop_write(client_.get(), 1);
  if (code == MOSQ_ERR_SUCCESS && !was_quiet_) code = mosquitto_loop_read(client_.get(), 1);
  if (code == MOSQ_ERR_SUCCESS) code = mosquitto_loop_misc(client_.get());
  if (code != MOSQ_ERR_SUCCESS && refused_ == 0) return failed(is_connected_ ? "connection lost" : "no connection", code);
  return true;
}

bool Broker::drain(Deadline until) {
  for (int i = 0; i < packets_per_drain_max; ++i) {
    if (!turn(std::min(until, Clock::now()))) return false;
    if (was_quiet_) return true;
    if (Clock::now() >= until) break;
  }
  return is_up();
}

bool Broker::bring_up(Deadline until, bool is_urgent) {
  if (client_ && drain(until)) return true;
  if (!is_urgent && session_ > 0 && Clock::now() - last_attempt_ < reconnect_pause) return false;
  return begin(until) && drain(until);
}

bool Broker::publish(const std::string& topic, const std::string& payload, Deadline until) {
  const auto sent = send(topic, payload);
  return sent && confirm(*sent, until);
}

std::optional<int> Broker::send(const std::string& topic, const std::string& payload) {
  if (!client_) return std::nullopt;
  int id = 0;
  ++counters_.requests;
  if (const int code = mosquitto_publish(client_.get(), &id, topic.c_str(), static_cast<int>(payload.size()), payload.data(), 1, false); code != 0) {
    (void)failed("not published", code);
    return std::nullopt;
  }
  return id;
}

bool Broker::confirm(int sent, Deadline until) {
  while (confirmed_.erase(sent) == 0) {
    if (Clock::now() >= until) {
      ++counters_.timeouts;
      drop("the broker did not confirm the order");
      return false;
    }
    if (!turn(until)) return false;
  }
  return true;
}

}  // namespace steadyglow::drivers::mqtt
