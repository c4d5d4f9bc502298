#include "sensor/thermocouple.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>
#include <string_view>

#include "sensor/its90.hpp"

namespace steadyglow::sensor {
namespace {

constexpr std::string_view letters = "BEJKNRST";
constexpr std::array<const its90::Functions*, 8> functions{&its90::type_b, &its90::type_e, &its90::type_j, &its90::type_k,
                                                           &its90::type_n, &its90::type_r, &its90::type_s, &its90::type_t};
constexpr double border_slack_mv = 0.0005;
constexpr double temperature_step_min = 1e-9;
constexpr int newton_steps_max = 60;

struct ValueAndSlope {
  double value = 0.0;
  double slope = 0.0;
};

const its90::Functions& functions_of(ThermocoupleType type) { return *functions[static_cast<std::size_t>(type)]; }
std::span<const its90::Polynomial> emf_pieces(ThermocoupleType type) {
  const auto& of = functions_of(type);
  return std::span(of.emf).first(of.emf_count);
}
std::span<const its90::Polynomial> inverse_pieces(ThermocoupleType type) {
  const auto& of = functions_of(type);
  return std::span(of.inverse).first(of.inverse_count);
}

/// Horner's rule for a polynomial and its derivative together.
ValueAndSlope evaluate(const its90::Polynomial& polynomial, double x) {
  ValueAndSlope at;
  for (auto term = polynomial.terms.rbegin(); term != polynomial.terms.rend(); ++term) {
    at.slope = at.slope * x + at.value;
    at.value = at.value * x + *term;
  }
  return at;
}

ValueAndSlope emf_at(ThermocoupleType type, double celsius) {
  const auto pieces = emf_pieces(type);
  const auto piece = std::find_if(pieces.begin(), pieces.end() - 1, [&](const auto& p) { return celsius <= p.high; });
  ValueAndSlope emf = evaluate(*piece, celsius);
  if (type != ThermocoupleType::k || celsius <= 0.0) return emf;
  const auto [a0, a1, a2] = its90::type_k_bell;
  const double bell = a0 * std::exp(a1 * (celsius - a2) * (celsius - a2));
  return {emf.value + bell, emf.slope + 2.0 * a1 * (celsius - a2) * bell};
}

Result<void> check_range(ThermocoupleType type, double celsius) {
  const auto range = thermocouple_range(type);
  if (celsius >= range.emf_low.value && celsius <= range.high.value) return {};
  return fail(Fault::bad_data, fmt::format("{} degC is outside the range of a type {} thermocouple", celsius, letter_of(type)),
              fmt::format("type {} is defined from {} to {} degC", letter_of(type), range.emf_low.value, range.high.value));
}

tl::unexpected<Error> no_temperature(ThermocoupleType type, double millivolts, double low_mv, double high_mv) {
  const auto range = thermocouple_range(type);
  std::string hint = fmt::format("type {} gives {:.3f} mV at {} degC and {:.3f} mV at {} degC, against terminals at 0 degC; ", letter_of(type), low_mv,
                                 range.inverse_low.value, high_mv, range.high.value);
  if (type == ThermocoupleType::b && millivolts < low_mv) hint += "type B tells nothing apart at bench temperatures: use K, T, J or N";
  else if (millivolts < low_mv) hint += "are the two wires swapped, or is it another type?";
  else hint += "is it another type, an open junction, or volts instead of millivolts?";
  return fail(Fault::bad_data, fmt::format("{} mV is outside what a type {} thermocouple gives", millivolts, letter_of(type)), std::move(hint));
}

double first_guess(ThermocoupleType type, double millivolts, double low, double high) {
  const auto pieces = inverse_pieces(type);
  const auto piece = std::find_if(pieces.begin(), pieces.end() - 1, [&](const auto& p) { return millivolts <= p.high; });
  // Below the published inverse the reference function goes on, too flat for its polynomial: begin in the middle of what is left.
  if (millivolts < piece->low) {
    const double edge = evaluate(*piece, piece->low).value;
    return std::clamp(0.5 * (low + edge), low, high);
  }
  return std::clamp(evaluate(*piece, millivolts).value, low, high);
}

/// Newton's method between two bounds that always hold the answer: a step that leaves them becomes a bisection.
double solve(ThermocoupleType type, double millivolts, double low, double high) {
  double celsius = first_guess(type, millivolts, low, high);
  for (int step = 0; step < newton_steps_max; ++step) {
    const auto emf = emf_at(type, celsius);
    (emf.value < millivolts ? low : high) = celsius;
    double next = celsius - (emf.value - millivolts) / emf.slope;
    if (!(next >= low && next <= high)) next = 0.5 * (low + high);
    const double moved = std::abs(next - celsius);
    celsius = next;
    if (moved < temperature_step_min) break;
  }
  return celsius;
}

/// One cell of the standard's table: the greater of `fixed` and `share` |t|, in kelvin, from `low` to `high` degC.
struct Tolerance {
  double low = 0.0;
  double high = 0.0;
  double fixed = 0.0;
  double share = 0.0;
};

std::optional<Tolerance> tolerance_of(ThermocoupleType type, ThermocoupleClass tolerance_class) {
  using Type = ThermocoupleType;
  const bool is_t = type == Type::t, is_j = type == Type::j, is_e = type == Type::e;
  switch (type) {
    case Type::r:
    case Type::s:
      if (tolerance_class == ThermocoupleClass::one) return Tolerance{0.0, 1600.0, 1.0, 0.0};  // and more from 1100 degC: see below
      if (tolerance_class == ThermocoupleClass::two) return Tolerance{0.0, 1600.0, 1.5, 0.0025};
      return std::nullopt;
    case Type::b:
      if (tolerance_class == ThermocoupleClass::two) return Tolerance{600.0, 1700.0, 0.0, 0.0025};
      if (tolerance_class == ThermocoupleClass::three) return Tolerance{600.0, 1700.0, 4.0, 0.005};
      return std::nullopt;
    default: break;
  }
  switch (tolerance_class) {
    case ThermocoupleClass::one: return Tolerance{-40.0, is_t ? 350.0 : is_j ? 750.0 : is_e ? 800.0 : 1000.0, is_t ? 0.5 : 1.5, 0.004};
    case ThermocoupleClass::two: return Tolerance{-40.0, is_t ? 350.0 : is_j ? 750.0 : is_e ? 900.0 : 1200.0, is_t ? 1.0 : 2.5, 0.0075};
    case ThermocoupleClass::three: break;
  }
  if (is_j) return std::nullopt;
  return Tolerance{-200.0, 40.0, is_t ? 1.0 : 2.5, 0.015};
}

}  // namespace

char letter_of(ThermocoupleType type) { return letters[static_cast<std::size_t>(type)]; }

std::optional<ThermocoupleType> thermocouple_type_from(char letter) {
  const char capital = letter >= 'a' && letter <= 'z' ? static_cast<char>(letter - 'a' + 'A') : letter;
  const auto at = letters.find(capital);
  if (at == std::string_view::npos) return std::nullopt;
  return thermocouple_types[at];
}

ThermocoupleRange thermocouple_range(ThermocoupleType type) {
  const auto pieces = emf_pieces(type);
  constexpr Celsius type_b_inverse_low{250.0};  // where the published inverse of type B begins
  const Celsius low{pieces.front().low};
  return {.emf_low = low, .high = Celsius{pieces.back().high}, .inverse_low = type == ThermocoupleType::b ? type_b_inverse_low : low};
}

Result<Millivolts> thermocouple_emf(ThermocoupleType type, Celsius temperature) {
  if (auto inside = check_range(type, temperature.value); !inside) return tl::unexpected(inside.error());
  return Millivolts{emf_at(type, temperature.value).value};
}

Result<double> thermocouple_sensitivity(ThermocoupleType type, Celsius temperature) {
  if (auto inside = check_range(type, temperature.value); !inside) return tl::unexpected(inside.error());
  return emf_at(type, temperature.value).slope;
}

Result<Celsius> thermocouple_temperature(ThermocoupleType type, Millivolts emf) {
  const auto range = thermocouple_range(type);
  const double low_mv = emf_at(type, range.inverse_low.value).value;
  const double high_mv = emf_at(type, range.high.value).value;
  if (!(emf.value >= low_mv - border_slack_mv && emf.value <= high_mv + border_slack_mv)) return no_temperature(type, emf.value, low_mv, high_mv);
  const double inside = std::clamp(emf.value, low_mv, high_mv);
  return Celsius{solve(type, inside, range.inverse_low.value, range.high.value)};
}

Result<Celsius> thermocouple_tip(ThermocoupleType type, Millivolts at_terminals, Celsius terminals) {
  const auto of_terminals = thermocouple_emf(type, terminals);
  if (!of_terminals) {
    Error error = of_terminals.error();
    error.message = "the terminals cannot be compensated: " + error.message;
    return tl::unexpected(std::move(error));
  }
  return thermocouple_temperature(type, at_terminals + *of_terminals);
}

std::optional<CelsiusDelta> thermocouple_tolerance(ThermocoupleType type, ThermocoupleClass tolerance_class, Celsius temperature) {
  const auto tolerance = tolerance_of(type, tolerance_class);
  const double t = temperature.value;
  if (!tolerance || t < tolerance->low || t > tolerance->high) return std::nullopt;
  constexpr double noble_share = 0.003, noble_from = 1100.0;
  const bool is_noble_first = tolerance_class == ThermocoupleClass::one && (type == ThermocoupleType::r || type == ThermocoupleType::s);
  if (is_noble_first && t > noble_from) return CelsiusDelta{1.0 + noble_share * (t - noble_from)};
  return CelsiusDelta{std::max(tolerance->fixed, tolerance->share * std::abs(t))};
}

bool has_class(ThermocoupleType type, ThermocoupleClass tolerance_class) { return tolerance_of(type, tolerance_class).has_value(); }

}  // namespace steadyglow::sensor
