#pragma once
/// The chains of one unit's points at work: they need the newest temperature of a thermocouple's terminals, which another poll brings.
#include <optional>
#include <span>
#include <vector>

#include "app/bench_clock.hpp"
#include "app/settings.hpp"
#include "drivers/driver.hpp"
#include "sensor/chain.hpp"

namespace steadyglow::app {

/// Thread: loop only. The bindings outlive it.
class Conversions {
 public:
  /// `clock_rate`: run time over real time.
  Conversions(std::span<const PointBinding> bindings, double clock_rate);

  /// Keeps what this reply says of terminals. Call it before convert() of the same reply.
  void hear(std::size_t bus, std::size_t meter, const drivers::MeterReply& reply, Boottime at);
  /// One channel's value as the point's. Terminals that were not read for three of their polls make it stale.
  sensor::Converted convert(std::size_t binding, const drivers::ChannelValue& channel, Boottime at) const;

 private:
  struct Terminals {
    Celsius temperature{};
    Boottime seen_at{};
    bool is_seen = false;
  };
  std::span<const PointBinding> bindings_;
  double clock_rate_;
  std::vector<Terminals> terminals_;  ///< one for each binding, used where it has a junction
};

}  // namespace steadyglow::app
