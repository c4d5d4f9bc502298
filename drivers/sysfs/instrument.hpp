#pragma once
/// What the Linux kernel measures and shows as files, as a value: which file holds which quantity.
/// Sources: the kernel's Documentation/w1/slaves/w1_therm, Documentation/hwmon/sysfs-interface, Documentation/ABI/testing/sysfs-bus-iio.
#include <cstdint>
#include <string>
#include <vector>

#include "drivers/channel.hpp"

namespace steadyglow::drivers::sysfs {

/// w1: a 1-Wire thermometer, bus/w1/devices/ROM; hwmon: a monitoring chip, class/hwmon; iio: a converter, bus/iio/devices.
enum class Kind : std::uint8_t { w1, hwmon, iio };

/// The raw number of a channel is what the kernel writes: millidegrees, millivolts, revolutions per minute and so on.
struct Channel : ChannelRule {
  std::string file;   ///< such as temp1_input or in_voltage0_raw; empty: found by its label
  std::string label;  ///< hwmon: what stands in the _label file beside it
};

struct Instrument {
  std::string title;
  Kind kind = Kind::w1;
  std::vector<Channel> channels;
};

/// How hwmon's and iio's file names of a quantity begin; empty for those that have no prefix of their own.
std::string_view file_prefix(Kind kind, Quantity quantity);

}  // namespace steadyglow::drivers::sysfs
