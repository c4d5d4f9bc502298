#pragma once
#include <optional>
#include <string>
#include <string_view>

namespace steadyglow {

/// Reads a whole text as a finite decimal number, in any locale. Nothing on trailing text, "nan" or "inf".
std::optional<double> parse_decimal(std::string_view text);

/// Shortest text that reads back as the same double, in any locale.
std::string to_decimal(double value);

/// A figure for a person: `digits` significant digits, no exponent for everyday sizes, no trailing zeros lost.
std::string to_figure(double value, int digits = 4);

}  // namespace steadyglow
