#pragma once
/// What stands between the truth and the record: noise, steps of the display, ranges, leads that bounce, polls that fail,
/// and meters that fail for good.
#include <optional>
#include <vector>

#include "bench/detection/unit.hpp"
#include "core/quality.hpp"

namespace steadyglow::detection {

/// How a meter or its sensor fails.
enum class MeterFault { none, clip_fallen, sensor_off, open_sensor, stuck, swapped, dead, noisy };

struct Shown {
  double value = 0.0;
  Quality quality = Quality::good;
};

class Meter {
 public:
  Meter(Dice dice, const Probe& probe, double hours, double period_seconds, bool is_only_protection);
  /// Once per poll, in order of time. No value: nothing came.
  std::optional<Shown> show(double seconds, double truth, double room, bool is_bus_silent);
  void fail(MeterFault fault, double at) { fault_ = fault, fault_at_ = at; }

 private:
  struct Gap {
    double from;
    double until;
  };
  double ranged(double value, bool& is_changing);
  std::optional<Shown> failing(double seconds, double truth, double room, double shown);

  Dice dice_;
  MeterTraits traits_;
  bool is_temperature_;
  double scale_;  ///< typical value, for a lead that hangs in the air
  Wander gain_;
  double per_kelvin_;
  bool has_ranges_;
  double range_step_;
  int range_ = 100;
  double miss_chance_;
  bool says_no_answer_;
  std::vector<Gap> gaps_;
  std::vector<double> bounces_;
  std::size_t next_bounce_ = 0;
  MeterFault fault_ = MeterFault::none;
  double fault_at_ = 0.0;
  double last_at_ = 0.0;
  double period_;
  double silence_max_;
  double last_shown_at_ = 0.0;
  std::optional<double> held_;
  double loose_tau_;
  double noise_growth_;
};

}  // namespace steadyglow::detection
