#include "sensor/thermistor.hpp"

#include <fmt/format.h>

#include <cmath>

namespace steadyglow::sensor {
namespace {

constexpr double kelvin_at_zero = 273.15;

double kelvin(Celsius t) { return t.value + kelvin_at_zero; }

Result<void> check_ohms(Ohms resistance) {
  if (resistance.value > 0.0 && std::isfinite(resistance.value)) return {};
  return fail(Fault::bad_data, fmt::format("{} ohm is no resistance of a thermistor", resistance.value), "is it shorted, or is a wire off?");
}

Result<Celsius> believed(double kelvins, Ohms resistance) {
  const Celsius t{kelvins - kelvin_at_zero};
  if (t >= thermistor_low && t <= thermistor_high) return t;
  return fail(Fault::bad_data, fmt::format("{} ohm would be {:.0f} degC", resistance.value, t.value),
              "is the sensor open or shorted, or are its figures those of another part?");
}

Result<void> check_temperature(Celsius t) {
  if (t >= thermistor_low && t <= thermistor_high) return {};
  return fail(Fault::bad_data, fmt::format("{} degC is outside the range of a thermistor", t.value),
              fmt::format("from {} to {} degC", thermistor_low.value, thermistor_high.value));
}

}  // namespace

Result<Celsius> thermistor_temperature(const BetaThermistor& part, Ohms resistance) {
  if (auto good = check_ohms(resistance); !good) return tl::unexpected(good.error());
  return believed(1.0 / (1.0 / kelvin(part.reference) + std::log(resistance / part.at_reference) / part.beta_kelvin), resistance);
}

Result<Celsius> thermistor_temperature(const SteinhartHart& curve, Ohms resistance) {
  if (auto good = check_ohms(resistance); !good) return tl::unexpected(good.error());
  const double x = std::log(resistance.value);
  return believed(1.0 / (curve.a + x * (curve.b + curve.c * x * x)), resistance);
}

Result<Ohms> thermistor_resistance(const BetaThermistor& part, Celsius temperature) {
  if (auto good = check_temperature(temperature); !good) return tl::unexpected(good.error());
  return part.at_reference * std::exp(part.beta_kelvin * (1.0 / kelvin(temperature) - 1.0 / kelvin(part.reference)));
}

Result<Ohms> thermistor_resistance(const SteinhartHart& curve, Celsius temperature) {
  if (auto good = check_temperature(temperature); !good) return tl::unexpected(good.error());
  if (!(curve.b > 0.0 && curve.c > 0.0))
    return fail(Fault::bad_data, fmt::format("B {} and C {} belong to no NTC thermistor", curve.b, curve.c), "both are above zero");
  // x^3 + p x + q = 0 with p > 0 has one real root, -2 sqrt(p/3) sinh(asinh(3q/(2p) sqrt(3/p)) / 3).
  const double p = curve.b / curve.c;
  const double q = (curve.a - 1.0 / kelvin(temperature)) / curve.c;
  const double x = -2.0 * std::sqrt(p / 3.0) * std::sinh(std::asinh(1.5 * q / p * std::sqrt(3.0 / p)) / 3.0);
  return Ohms{std::exp(x)};
}

double thermistor_sensitivity(const BetaThermistor& part, Celsius temperature) {
  return -part.beta_kelvin / (kelvin(temperature) * kelvin(temperature));
}

Result<SteinhartHart> solve_steinhart_hart(const std::array<ThermistorPoint, 3>& points) {
  std::array<double, 3> x{};
  std::array<double, 3> y{};
  for (std::size_t i = 0; i < points.size(); ++i) {
    if (auto good = check_ohms(points[i].resistance); !good) return tl::unexpected(good.error());
    if (auto good = check_temperature(points[i].temperature); !good) return tl::unexpected(good.error());
    x[i] = std::log(points[i].resistance.value);
    y[i] = 1.0 / kelvin(points[i].temperature);
  }
  const auto slope = [&](std::size_t i, std::size_t j) { return (y[j] - y[i]) / (x[j] - x[i]); };
  SteinhartHart curve;
  curve.c = (slope(0, 2) - slope(0, 1)) / (x[2] - x[1]) / (x[0] + x[1] + x[2]);
  curve.b = slope(0, 1) - curve.c * (x[0] * x[0] + x[0] * x[1] + x[1] * x[1]);
  curve.a = y[0] - x[0] * (curve.b + curve.c * x[0] * x[0]);
  // Not finite when two points share a resistance; B or C not above zero when the three lie on no NTC curve.
  if (!std::isfinite(curve.a) || !(curve.b > 0.0 && curve.c > 0.0))
    return fail(Fault::bad_data, "no thermistor curve goes through these three points",
                "take three points well apart (say 0, 25 and 70 degC), the resistance falling as it gets warmer");
  return curve;
}

Result<Ohms> thermistor_in_divider(const ThermistorDivider& divider, Volts read) {
  const double share = read / divider.supply;
  if (!(share > 0.0 && share < 1.0))
    return fail(Fault::bad_data, fmt::format("{} V of a supply of {} V leaves nothing for the other resistor", read.value, divider.supply.value),
                "is the sensor open or shorted, or was the supply not measured?");
  return divider.other * (divider.is_thermistor_low_side ? share / (1.0 - share) : (1.0 - share) / share);
}

}  // namespace steadyglow::sensor
