#pragma once
/// What is connected to this machine, by the names that stay from boot to boot. Functions over a root folder ("/" for the machine), so
/// that a test gives a tree of its own. Small files of sysfs are read, and a GPIO chip is asked for its label; no port is opened.
#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "document/document.hpp"

namespace steadyglow::app {

/// One channel of a sensor in sysfs.
struct FoundChannel {
  std::string file;   ///< "temp1_input"
  std::string label;  ///< what the driver calls it; may be empty
};

struct FoundDevice {
  std::string kind;    ///< serial | usbtmc | one_wire | hwmon | iio | gpio
  std::string title;   ///< what it says it is
  std::string serial;  ///< its own serial number; empty: it has none
  std::string stays;   ///< the name for a configuration; empty: none of its names stays
  std::string moves;   ///< the name that is another device's after a restart: /dev/ttyUSB0, hwmon3
  std::vector<std::string> names;  ///< every other name
  std::vector<FoundChannel> channels;
  std::string caution;             ///< what to know before it is bound
  std::string line;                ///< configuration text to copy
  std::string named_at;            ///< "bench.toml:41", where a configuration names it; empty: nowhere
};

struct FoundDevices {
  std::vector<FoundDevice> devices;
  std::vector<std::string> warnings;  ///< twins, and names in the configuration that move or lead nowhere
};

inline constexpr std::size_t devices_max = 256;
inline constexpr std::size_t device_channels_max = 64;

/// Reads /dev and /sys below `root`. What cannot be read is left out.
FoundDevices find_devices(const std::filesystem::path& root);
/// Notes which of them a configuration names, and warns of names in it that move or lead nowhere.
void note_configured(FoundDevices& found, const document::Node& configuration, const std::string& file, const std::filesystem::path& root);

}  // namespace steadyglow::app
