#pragma once
/// One connection to a broker, driven from the thread that calls it and from no other.
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "drivers/driver.hpp"

struct mosquitto;
struct mosquitto_message;

namespace steadyglow::drivers::mqtt {

using Clock = std::chrono::steady_clock;
using Deadline = Clock::time_point;

struct BrokerSettings {
  std::string host;  ///< IPv4 address
  int port = 1883;
  std::string user;  ///< empty: none
  std::string password;
  bool is_tls_required = false;
  std::string ca_file;  ///< of a broker whose certificate is our own; empty: the system's
};

/// The broker gives a client up that is silent for one and a half of this (MQTT 3.1.1, section 3.1.2.10).
inline constexpr std::chrono::seconds keep_alive{15};
/// So the connection must be driven that often.
inline constexpr double poll_seconds_most = 10.0;

/// What came on a topic. Views: for the call only.
struct Message {
  std::string_view topic;
  std::string_view payload;
  bool is_retained;           ///< the broker kept it for who comes later: it may be of any age
  Clock::time_point arrived;  ///< or earlier never: the last moment when nothing was waiting
};

/// Thread: one bus thread. Owns: the client and its socket. Fails: by false and trouble(); never throws.
/// After any error the client is thrown away with all that it still wanted to send: no order is carried out late.
class Broker {
 public:
  Broker(BrokerSettings settings, std::vector<std::string> topics, std::function<void(const Message&)> on_message, BusCounters& counters);
  ~Broker();
  Broker(const Broker&) = delete;
  Broker& operator=(const Broker&) = delete;

  /// Connected and subscribed to all topics, if need be by trying until `until`; without urgency not sooner than reconnect_pause after the
  /// last attempt. What was waiting has been handed over.
  bool bring_up(Deadline until, bool is_urgent);
  bool is_up() const { return client_ != nullptr && is_connected_ && open_subscriptions_ == 0; }
  /// Waits for one turn of the connection, `until` at most.
  bool turn(Deadline until);
  /// Publishes at least once and not retained: good when the broker has confirmed it.
  bool publish(const std::string& topic, const std::string& payload, Deadline until);
  /// The two halves of that: sends at once, before anything that waits is looked at; and waits for the broker's word on it, in the same session.
  std::optional<int> send(const std::string& topic, const std::string& payload);
  bool confirm(int sent, Deadline until);
  void drop(std::string why);

  const std::string& trouble() const { return trouble_; }
  /// Counts up with each connection.
  std::uint64_t session() const { return session_; }

 private:
  struct FreeClient {
    void operator()(mosquitto* client) const;
  };
  bool begin(Deadline until);
  bool set_up();
  bool drain(Deadline until);
  bool failed(const std::string& what, int code);
  void take(const mosquitto_message& message);

  const BrokerSettings settings_;
  const std::vector<std::string> topics_;
  const std::function<void(const Message&)> on_message_;
  BusCounters& counters_;
  std::unique_ptr<mosquitto, FreeClient> client_;
  bool is_connected_ = false;
  int refused_ = 0;
  std::size_t open_subscriptions_ = 0;
  std::set<int> confirmed_;
  std::string refused_topic_trouble_;
  std::string trouble_;
  Clock::time_point last_attempt_{};
  Clock::time_point last_empty_{};
  bool was_quiet_ = false;
  std::uint64_t session_ = 0;
};

/// Once, before the first client and on the thread that reads the configuration.
void prepare_library();
/// Good to publish on and to subscribe to: UTF-8 without + and #, not too long.
bool is_topic(const std::string& topic);

}  // namespace steadyglow::drivers::mqtt
