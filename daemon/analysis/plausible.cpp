#include "analysis/plausible.hpp"

#include <array>
#include <cmath>

namespace steadyglow::analysis {

bool Plausible::step(Timestamp at, double value) {
  if (!std::isfinite(value)) return false;
  if (!is_temperature_) {
    constexpr std::array ends_of_registers{32767.0, -32768.0, 65535.0, 2147483647.0};
    for (const double end : ends_of_registers)
      if (value == end) return false;
    return std::fabs(value) < volts_most;
  }
  if (value < celsius_least || value > celsius_most) return false;
  if (is_heavy_ && last_ && std::fabs(value - *last_) > heavy_jump_kelvin + heavy_kelvin_per_minute * minutes_of(at - last_at_)) return false;
  last_ = value;
  last_at_ = at;
  return true;
}

}  // namespace steadyglow::analysis
