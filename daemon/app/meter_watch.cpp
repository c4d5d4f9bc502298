#include "app/meter_watch.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

namespace steadyglow::app {

MeterWatch::MeterWatch(const std::vector<drivers::BusSpec>& buses) {
  for (const drivers::BusSpec& bus : buses) {
    auto& meters = meters_.emplace_back();
    for (const drivers::MeterInfo& meter : bus.meters) meters.push_back({meter.name, meter.identity, bus.name, {}, {}});
  }
}

void MeterWatch::take(const acquire::MeterBatch& batch, BenchAlarms& alarms, Timestamp now) {
  if (!batch.reply.is_answered) return;
  Meter& meter = meters_[batch.bus][batch.meter];
  meter.identity = batch.reply.identity;
  if (meter.is_stranger == batch.reply.is_stranger) return;
  meter.is_stranger = batch.reply.is_stranger;
  if (!batch.reply.is_stranger)
    return alarms.clear(std::string(stranger_alarm), meter.name, fmt::format("{}: the meter that is bound to it answers again", meter.name), now);
  const std::string who = batch.reply.trouble.empty() ? fmt::format("`{}` answers where `{}` is bound", batch.reply.identity, meter.bound) : batch.reply.trouble;
  const std::string text = fmt::format("{} on bus {}: {}; none of its values is taken until the right one is connected", meter.name, meter.bus, who);
  spdlog::warn("{}", text);
  alarms.raise({std::string(stranger_alarm), alarm::Cause::bus, meter.name, {}, alarm::Priority::medium, text}, now);
}

std::string MeterWatch::identity(const std::string& name) const {
  for (const auto& bus : meters_)
    for (const Meter& meter : bus)
      if (meter.name == name) return meter.identity;
  return {};
}

}  // namespace steadyglow::app
