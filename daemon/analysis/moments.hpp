#pragma once
/// Mean, spread and memory of a series, to the digits the data deserve.
#include <cstddef>
#include <optional>
#include <span>

namespace steadyglow::analysis {

struct Moments {
  std::size_t count = 0;
  double mean = 0.0;
  double sd = 0.0;               ///< divisor n - 1
  double autocorrelation = 0.0;  ///< lag 1, about the one mean: sum (y_i - m)(y_{i-1} - m) / sum (y_i - m)^2
};

/// In the uom of the values; nothing for fewer than two. The autocorrelation of a constant series is 0.
/// Two passes with the rounding of the first put right in the second (corrected two-pass algorithm: Chan, Golub and
/// LeVeque 1983, "Algorithms for computing the sample variance", The American Statistician 37). One pass over squares
/// loses every digit of an sd of 0.1 on a level of 1e7.
std::optional<Moments> moments(std::span<const double> values);

}  // namespace steadyglow::analysis
