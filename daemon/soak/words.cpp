#include "soak/words.hpp"

#include <fmt/format.h>

#include "core/decimal.hpp"

namespace steadyglow::soak {

std::string figure(const profile::Point& point, double value) {
  constexpr int significant_digits = 3;
  const std::string_view shown = point.uom.shown;
  return to_figure(value, significant_digits) + (shown.empty() ? "" : " ") + std::string(shown);
}

std::string span_text(Duration duration) {
  const double seconds = seconds_of(duration);
  if (seconds < 90.0) return fmt::format("{:.0f} s", seconds);
  if (seconds < 5400.0) return fmt::format("{:.0f} min", seconds / 60.0);
  return fmt::format("{:.1f} h", seconds / 3600.0);
}

}  // namespace steadyglow::soak
