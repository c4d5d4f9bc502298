#include "app/conversions.hpp"

#include <chrono>

namespace steadyglow::app {

Conversions::Conversions(std::span<const PointBinding> bindings, double clock_rate) : bindings_(bindings), clock_rate_(clock_rate), terminals_(bindings.size()) {}

void Conversions::hear(std::size_t bus, std::size_t meter, const drivers::MeterReply& reply, Boottime at) {
  for (std::size_t i = 0; i < bindings_.size(); ++i) {
    const auto& junction = bindings_[i].junction;
    if (!junction || junction->bus != bus || junction->meter != meter || junction->channel >= reply.channels.size()) continue;
    const drivers::ChannelValue& channel = reply.channels[junction->channel];
    // Somebody else's temperature says nothing of these terminals, and takes away what was known of them.
    if (channel.quality == Quality::other_meter) terminals_[i] = {};
    if (channel.quality == Quality::good) terminals_[i] = {Celsius{channel.value * junction->to_celsius}, at, true};
  }
}

sensor::Converted Conversions::convert(std::size_t binding, const drivers::ChannelValue& channel, Boottime at) const {
  const PointBinding& bound = bindings_[binding];
  std::optional<Celsius> terminals;
  if (const Terminals& known = terminals_[binding]; bound.junction && known.is_seen) {
    const std::chrono::duration<double, std::milli> age = at - known.seen_at;
    if (age.count() * clock_rate_ <= static_cast<double>(bound.junction->age_max.count())) terminals = known.temperature;
  }
  return sensor::convert(bound.chain, channel.value, channel.quality, terminals);
}

}  // namespace steadyglow::app
