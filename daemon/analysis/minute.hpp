#pragma once
/// Samples become one-minute medians: the grain of all trend work. Single samples are for limits only.
#include <array>
#include <cstdint>
#include <optional>

#include "core/timestamp.hpp"

namespace steadyglow::analysis {

struct Minute {
  std::int64_t index = 0;  ///< whole minutes of run time since the start
  double median = 0.0;
  double spread = 0.0;     ///< robust standard deviation of the samples within the minute
  double mean = 0.0;       ///< heat follows the mean, not the median
  std::uint32_t count = 0;
};

/// Collects good samples in time order and hands out a minute when the next one begins.
/// Bounded: beyond samples_max a minute keeps every second sample, then every fourth, and so on.
class MinuteCollector {
 public:
  static constexpr std::size_t samples_max = 128;

  /// Adds a sample; returns the minute that it closed, if any.
  std::optional<Minute> add(Timestamp at, double value);
  /// Closes the open minute when `now` is past its end.
  std::optional<Minute> close_before(Timestamp now);
  void clear();

 private:
  std::optional<Minute> close();

  std::array<double, samples_max> samples_{};
  std::size_t kept_ = 0;
  std::uint32_t seen_ = 0;
  std::uint32_t stride_ = 1;
  std::int64_t index_ = -1;
};

inline std::int64_t minute_of(Timestamp at) { return ms_of(at) / 60000; }

}  // namespace steadyglow::analysis
