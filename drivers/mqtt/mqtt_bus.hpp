#pragma once
/// Plugs and boards that speak through a broker. Nobody can be asked here: what matters is how old a word is and who said it.
#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "drivers/mqtt/broker.hpp"
#include "drivers/mqtt/instrument.hpp"
#include "drivers/mqtt/payload.hpp"

namespace steadyglow::drivers::mqtt {

/// The clock of this machine may be behind the device's by that much; what is from further ahead is not believed.
inline constexpr std::chrono::seconds ahead_max{2};

/// A call waits for the broker and again for the device, and ends within this.
inline constexpr std::chrono::milliseconds call_allowance{200};

struct MeterSetup {
  std::string name;
  Instrument instrument;  ///< with whole topics
  std::string identity;   ///< what its payloads must call it; empty: whichever
};

/// Thread: one bus thread; between two calls the connection rests, so each call first takes what came meanwhile, and dates it from the
/// last moment when nothing was waiting. Owns: one connection. Fails: by quality or Error; never throws.
class MqttBus final : public Bus {
 public:
  /// `timeout`: for each of the two; cut where a call would take longer than any bus may.
  MqttBus(BrokerSettings broker, std::vector<MeterSetup> meters, std::chrono::milliseconds timeout);

  MeterReply read(std::size_t meter) override;
  /// OFF is sent before anything that waits is looked at. Good when the broker confirmed the order and the device says that it stands so. A broker that hangs may hand an order on long
  /// after: so an ON that was not confirmed is followed by OFF at every poll until the device says that it is off.
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override;
  Result<bool> read_output(std::size_t meter, std::size_t output) override;
  BusCounters counters() const override { return counters_; }
  std::chrono::milliseconds call_deadline() const override { return timeout_ * 2 + call_allowance; }

 private:
  struct Sample {
    ChannelValue value{};
    Clock::time_point arrived{};
    bool is_retained = true;
    std::optional<std::chrono::system_clock::time_point> stated;
    std::optional<std::string> sender;  ///< as its payload calls it; none where it does not
    std::string trouble;
  };
  struct State {
    bool is_on = false;
    Clock::time_point arrived{};
    std::uint64_t number = 0;  ///< the how manyth word of any state
  };
  struct Meter {
    MeterSetup setup;
    std::vector<std::optional<Sample>> samples;  // by channel; none since the connection stands
    std::vector<std::optional<State>> states;    // by output; what came live
    std::vector<bool> is_taken_back;             // by output; outlives the connection
    std::optional<bool> is_available;            // what it or the broker in its name said last
    bool was_heard = false;  ///< live, since it was last read
  };

  static std::vector<std::string> topics_of(const MeterSetup& meter);
  static std::vector<std::string> topics_of(const std::vector<MeterSetup>& meters);
  void take(const Message& message);
  void take_values(Meter& meter, const Message& message, const Payload& payload);
  void take_states(Meter& meter, const Message& message, const Payload& payload);
  bool bring_up(Deadline until, bool is_urgent);
  void forget_older_sessions();
  void forget();
  static std::string stranger(const Meter& meter);
  static bool is_proven_live(const Meter& meter);
  ChannelValue judged(const Channel& channel, const std::optional<Sample>& sample, std::string& trouble) const;
  void take_back(Meter& meter, Deadline until);
  std::optional<State> known_state(const Meter& meter, std::size_t output) const;

  const std::chrono::milliseconds timeout_;
  BusCounters counters_;
  std::vector<Meter> meters_;
  std::multimap<std::string, std::size_t, std::less<>> listeners_;  ///< topic to meters
  std::uint64_t states_taken_ = 0;
  std::uint64_t session_ = 0;  ///< that the meters' words are from
  Broker broker_;
};

}  // namespace steadyglow::drivers::mqtt
