#pragma once
#include <cstdint>
#include <memory>

#include "notify/route.hpp"

namespace steadyglow::notify {

struct MqttSettings {
  std::string host;
  std::uint16_t port = 1883;
  std::string topic;
  std::string user;  ///< empty: none
  std::string password;
  bool is_tls_required = false;
  std::string ca_file;  ///< of a broker whose certificate is our own; empty: the system's
};

/// Publishes the message as JSON, QoS 1, not retained: who comes later must not take an old alarm for a new one. Good when
/// the broker has confirmed it (PUBACK).
class MqttRoute : public Route {
 public:
  explicit MqttRoute(MqttSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override;
  std::string kind() const override { return "mqtt"; }

 private:
  struct Attempt;
  const MqttSettings settings_;
  std::shared_ptr<Attempt> last_;  ///< worker only; shared with the thread that carries it, which may outlast the wait
};

/// Good where it can be published on: no + or #, valid UTF-8, not too long.
bool is_mqtt_topic(const std::string& topic);

}  // namespace steadyglow::notify
