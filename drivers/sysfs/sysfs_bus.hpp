#pragma once
/// Thermometers, monitoring chips and converters that the Linux kernel reads and shows as files.
/// Each poll looks its device up anew: the kernel's own numbers (hwmon3, iio:device0) are another device's after the next start.
#include <chrono>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "drivers/driver.hpp"
#include "drivers/sysfs/instrument.hpp"
#include "drivers/sysfs/w1.hpp"

namespace steadyglow::drivers::sysfs {

using Clock = std::chrono::steady_clock;

struct MeterSetup {
  std::string name;
  Instrument instrument;
  std::string rom;       ///< w1
  std::string chip;      ///< hwmon, iio: what its `name` file says; empty: any
  std::string device;    ///< hwmon, iio: the end of its path among the devices; empty: any
  std::string identity;  ///< the path that it must have; empty: whichever
};

/// A conversion of 12 bit takes 750 ms, and the kernel tries again when the check fails, at most ten times.
inline constexpr std::chrono::milliseconds w1_call_deadline{8000};
inline constexpr std::chrono::milliseconds file_call_deadline{1000};

/// Thread: one bus thread; a 1-Wire file cannot be broken off, so a bus of thermometers may take w1_call_deadline for a call.
/// Owns: nothing between two calls. Fails: by quality; never throws.
class SysfsBus final : public Bus {
 public:
  SysfsBus(std::string root, std::vector<MeterSetup> meters, std::function<Clock::time_point()> now = Clock::now);

  MeterReply read(std::size_t meter) override;
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override;
  Result<bool> read_output(std::size_t meter, std::size_t output) override;
  BusCounters counters() const override { return counters_; }
  std::chrono::milliseconds call_deadline() const override;

 private:
  struct Meter {
    MeterSetup setup;
    PowerOnGuard guard;       // w1
    bool is_missing = false;  ///< its last poll found no device
  };
  struct Found;

  void read_w1(Meter& meter, MeterReply& reply);
  void read_chip(Meter& meter, MeterReply& reply);
  std::vector<Found> candidates(const MeterSetup& setup) const;
  void be_found(Meter& meter, bool is_found);
  std::string strangers_on_w1() const;

  const std::string root_;
  std::vector<Meter> meters_;
  const std::function<Clock::time_point()> now_;
  BusCounters counters_;
};

}  // namespace steadyglow::drivers::sysfs
