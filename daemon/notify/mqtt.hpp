#pragma once
#include <cstdint>

#include "notify/route.hpp"

namespace steadyglow::notify {

struct MqttSettings {
  std::string host;
  std::uint16_t port = 1883;
  std::string topic;
  std::string user;  ///< empty: none
  std::string password;
  std::string ca_file;  ///< set: TLS
};

/// Publishes the message as JSON, QoS 1, not retained: who comes later must not take an old alarm for a new one. Good when
/// the broker has confirmed it (PUBACK).
class MqttRoute : public Route {
 public:
  explicit MqttRoute(MqttSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override { return settings_.host + ":" + std::to_string(settings_.port) + " " + settings_.topic; }
  std::string kind() const override { return "mqtt"; }

 private:
  MqttSettings settings_;
};

}  // namespace steadyglow::notify
