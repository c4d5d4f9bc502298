#pragma once
/// The last two hours of what matters, as a small picture for a telephone: light, and readable at 600 by 360.
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::notify {

/// One figure over time. `values` are the means of equal stretches of [from_s, to_s); empty: no good reading.
struct Trace {
  std::string name;
  std::string uom;
  std::vector<std::optional<double>> values;
  std::optional<double> warn_low, warn_high, trip_low, trip_high;
};

struct Picture {
  std::string title;
  double from_s = 0.0;  ///< run time
  double to_s = 0.0;
  std::optional<double> cut_s;  ///< when the outlet was ordered off
  std::vector<Trace> traces;    ///< the guilty one first; at most traces_max are drawn
};

inline constexpr std::size_t traces_max = 4;
inline constexpr int picture_width = 600;   ///< as it is laid out
inline constexpr int picture_height = 360;
inline constexpr int picture_scale = 2;     ///< pixels for each: telephones have fine ones

/// PNG bytes. Fails when there is nothing to draw or no memory.
Result<std::string> draw_picture(const Picture& picture);

}  // namespace steadyglow::notify
