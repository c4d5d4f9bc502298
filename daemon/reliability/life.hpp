#pragma once
/// How long repaired units last, from the hours of those that failed and of those that have not yet.
#include <cstddef>
#include <span>

#include "core/result.hpp"

namespace steadyglow::reliability {

/// One unit: the hours it failed at, or those it has run without failing (censored: soak over, or still well with its owner).
struct Life {
  double hours = 0.0;  ///< above zero; powered hours, not calendar time
  bool has_failed = false;
};

/// Lower and upper end of a two-sided interval.
struct Interval {
  double low = 0.0;
  double high = 0.0;
};

std::size_t count_failures(std::span<const Life> lives);

/// Hours of all units together.
double total_hours(std::span<const Life> lives);

/// Refuses an empty list, hours that are not above zero or not finite, and a confidence outside 0 to 1 (Fault::bad_data).
Result<void> check(std::span<const Life> lives, double confidence);

/// How many standard deviations a two-sided interval of this confidence reaches either way.
double normal_width(double confidence);

}  // namespace steadyglow::reliability
