#pragma once
#include <nlohmann/json.hpp>

#include "app/found_devices.hpp"

namespace steadyglow::app {

/// {"devices": [...], "warnings": [...]}, as API.md shows it.
inline nlohmann::ordered_json to_json(const FoundDevices& found) {
  using Json = nlohmann::ordered_json;
  Json devices = Json::array();
  for (const FoundDevice& device : found.devices) {
    Json channels = Json::array();
    for (const FoundChannel& channel : device.channels) channels.push_back({{"file", channel.file}, {"label", channel.label}});
    devices.push_back({{"kind", device.kind}, {"title", device.title}, {"serial", device.serial}, {"stays", device.stays}, {"moves", device.moves}, {"names", device.names},
                       {"channels", std::move(channels)}, {"caution", device.caution}, {"line", device.line}, {"named_at", device.named_at}});
  }
  return {{"devices", std::move(devices)}, {"warnings", found.warnings}};
}

}  // namespace steadyglow::app
