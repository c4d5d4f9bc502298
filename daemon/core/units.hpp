#pragma once
#include <compare>

namespace steadyglow {

/// A quantity that does not mix with another: Volts + Amperes, or Celsius + Celsius, do not compile.
/// Unwrap `.value` only where a number leaves the program or enters a formula that names its unit.
template <class Tag>
struct Scalar {
  double value = 0.0;
  friend constexpr auto operator<=>(Scalar, Scalar) = default;
  friend constexpr Scalar operator+(Scalar a, Scalar b) { return {a.value + b.value}; }
  friend constexpr Scalar operator-(Scalar a, Scalar b) { return {a.value - b.value}; }
  friend constexpr Scalar operator*(Scalar a, double k) { return {a.value * k}; }
  friend constexpr Scalar operator*(double k, Scalar a) { return {a.value * k}; }
  friend constexpr Scalar operator/(Scalar a, double k) { return {a.value / k}; }
  friend constexpr double operator/(Scalar a, Scalar b) { return a.value / b.value; }
};

using Volts = Scalar<struct VoltsTag>;
using Amperes = Scalar<struct AmperesTag>;
using Watts = Scalar<struct WattsTag>;
using Ohms = Scalar<struct OhmsTag>;
using CelsiusDelta = Scalar<struct CelsiusDeltaTag>;
using KelvinPerWatt = Scalar<struct KelvinPerWattTag>;

/// A temperature is a place on a scale: two of them have a difference and no sum.
struct Celsius {
  double value = 0.0;
  friend constexpr auto operator<=>(Celsius, Celsius) = default;
  friend constexpr CelsiusDelta operator-(Celsius a, Celsius b) { return {a.value - b.value}; }
  friend constexpr Celsius operator+(Celsius t, CelsiusDelta d) { return {t.value + d.value}; }
  friend constexpr Celsius operator-(Celsius t, CelsiusDelta d) { return {t.value - d.value}; }
};

constexpr Amperes operator/(Volts u, Ohms r) { return {u.value / r.value}; }
constexpr Watts operator*(Volts u, Amperes i) { return {u.value * i.value}; }
constexpr KelvinPerWatt operator/(CelsiusDelta d, Watts p) { return {d.value / p.value}; }

}  // namespace steadyglow
