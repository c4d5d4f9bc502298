#pragma once
/// An MQTT device as a value: what it says on which topic, how old that may be, and how it is switched.
/// Sources: MQTT 3.1.1 (OASIS) for topics and the retain flag, RFC 6901 for fields, RFC 3339 for times.
#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "drivers/channel.hpp"

namespace steadyglow::drivers::mqtt {

/// Two payloads, or fields of one, that mean yes and no.
struct Words {
  std::string on;
  std::string off;
};

struct Channel : ChannelRule {
  std::string topic;
  std::string field;       ///< RFC 6901 pointer into a JSON payload; empty: the whole payload is the number
  std::string time_field;  ///< when it was measured; empty: only the arrival counts
  bool is_time_in_milliseconds = false;
  Words words;             ///< of a state; empty: only numbers and true or false
  std::chrono::milliseconds stale_after{};
};

/// Where a device, or the broker in its name (its last will), says whether it is there.
struct Availability {
  std::string topic;
  Words words;
};

struct Output {
  std::string name;
  std::string topic;  ///< for the order
  Words orders;
  std::string state_topic;  ///< where the device says how it stands
  std::string state_field;
  Words states;
  std::string query_topic;  ///< what is sent there makes it say so again; empty: there is no such thing
  std::string query;
  std::chrono::milliseconds stale_after{};  ///< 0: a state holds until the device says another, or is gone
};

struct Instrument {
  std::string title;
  std::string id_field;  ///< where each payload of a channel says who sent it
  std::optional<Availability> availability;
  std::vector<Channel> channels;
  std::vector<Output> outputs;
};

}  // namespace steadyglow::drivers::mqtt
