#include "sensor/platinum.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace steadyglow::sensor {
namespace {

constexpr double a = 3.9083e-3;
constexpr double b = -5.775e-7;
constexpr double c = -4.183e-12;
constexpr double border_slack = 5e-5;  // of R0
constexpr int newton_steps = 8;        // four reach the last bit; the rest is margin

double ratio_at(double t) {
  const double ratio = 1.0 + t * (a + t * b);
  return t < 0.0 ? ratio + c * (t - 100.0) * t * t * t : ratio;
}
double slope_below_zero(double t) { return a + 2.0 * b * t + c * t * t * (4.0 * t - 300.0); }

}  // namespace

Result<Ohms> platinum_resistance(Ohms at_zero, Celsius temperature) {
  if (!(temperature >= platinum_low && temperature <= platinum_high))
    return fail(Fault::bad_data, fmt::format("{} degC is outside the range of a platinum resistor", temperature.value),
                fmt::format("IEC 60751 goes from {} to {} degC", platinum_low.value, platinum_high.value));
  return at_zero * ratio_at(temperature.value);
}

Result<Celsius> platinum_temperature(Ohms at_zero, Ohms resistance) {
  const double low = ratio_at(platinum_low.value);
  const double high = ratio_at(platinum_high.value);
  const double measured = resistance / at_zero;
  if (!(measured >= low - border_slack && measured <= high + border_slack))
    return fail(Fault::bad_data, fmt::format("{} ohm is outside what a platinum resistor of {} ohm gives", resistance.value, at_zero.value),
                fmt::format("it has {:.2f} to {:.2f} ohm; {}", low * at_zero.value, high * at_zero.value,
                            measured < low ? "is it shorted, or a Pt100 entered as a Pt1000?" : "is a lead open, or is it a Pt1000 entered as a Pt100?"));
  const double ratio = std::clamp(measured, low, high);
  // The root that is 0 at R0; the quadratic opens downwards and never turns before 3000 degC.
  double t = (-a + std::sqrt(a * a - 4.0 * b * (1.0 - ratio))) / (2.0 * b);
  if (ratio < 1.0)
    for (int step = 0; step < newton_steps; ++step) t -= (ratio_at(t) - ratio) / slope_below_zero(t);
  return Celsius{std::clamp(t, platinum_low.value, platinum_high.value)};
}

double platinum_sensitivity(Ohms at_zero, Celsius temperature) {
  const double t = temperature.value;
  return at_zero.value * (t < 0.0 ? slope_below_zero(t) : a + 2.0 * b * t);
}

CelsiusDelta platinum_tolerance(PlatinumClass tolerance_class, Celsius temperature) {
  const double t = std::abs(temperature.value);
  switch (tolerance_class) {
    case PlatinumClass::aa: return {0.1 + 0.0017 * t};
    case PlatinumClass::a: return {0.15 + 0.002 * t};
    case PlatinumClass::b: return {0.3 + 0.005 * t};
    case PlatinumClass::c: break;
  }
  return {0.6 + 0.01 * t};
}

}  // namespace steadyglow::sensor
