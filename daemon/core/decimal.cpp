#include "core/decimal.hpp"

#include <array>
#include <charconv>
#include <cmath>

namespace steadyglow {

std::optional<double> parse_decimal(std::string_view text) {
  double value = 0.0;
  if (!text.empty() && text.front() == '+') text.remove_prefix(1);
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (status != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::string to_decimal(double value) {
  std::array<char, 32> buffer{};
  const auto [end, status] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value);
  return {buffer.data(), end};
}

std::string to_figure(double value, int digits) {
  if (!std::isfinite(value)) return "?";
  const double size = std::fabs(value);
  const int before_point = size < 1.0 ? 1 : static_cast<int>(std::floor(std::log10(size))) + 1;
  const int decimals = before_point >= digits ? 0 : digits - before_point;
  std::array<char, 400> buffer{};
  const auto [end, status] =
      std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::fixed, decimals);
  return {buffer.data(), end};
}

}  // namespace steadyglow
