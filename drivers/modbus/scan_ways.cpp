/// How registers may be read, what that looks like, and which way gives a value that a person sees. No I/O.
#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <span>
#include <tuple>

#include "drivers/modbus/decode.hpp"
#include "drivers/modbus/scan.hpp"

namespace steadyglow::drivers::modbus {
namespace {

constexpr std::array single_types{Type::int16, Type::uint16};
constexpr std::array wide_types{Type::float32, Type::int32, Type::uint32};
constexpr std::array long_types{Type::float64, Type::int64, Type::uint64};
constexpr std::array word_orders{WordOrder::abcd, WordOrder::cdab, WordOrder::badc, WordOrder::dcba};

constexpr double whole_plausible_below = 1e8;
constexpr double float_plausible_from = 1e-4;
constexpr double float_plausible_below = 1e7;
/// What one register can hold: a wider whole number below this is more simply read from one.
constexpr double one_register = 65536.0;

bool is_float(Type type) { return type == Type::float32 || type == Type::float64; }

/// The registers of a value, when all of them are known.
std::optional<std::array<std::uint16_t, 4>> registers_at(const Window& window, int address, std::uint16_t count) {
  std::array<std::uint16_t, 4> registers{};
  for (std::uint16_t i = 0; i < count; ++i) {
    const auto place = static_cast<std::size_t>(address - window.first + i);
    if (place >= window.words.size() || !window.words[place]) return std::nullopt;
    registers[i] = *window.words[place];
  }
  return registers;
}

std::optional<double> raw_at(const Window& window, int address, Type type, WordOrder order) {
  const auto registers = registers_at(window, address, width(type));
  if (!registers) return std::nullopt;
  const double raw = decode_raw(type, order, std::span<const std::uint16_t>(*registers).first(width(type)));
  if (!std::isfinite(raw)) return std::nullopt;
  return raw;
}

bool is_plausible(Type type, double raw) {
  const double size = std::fabs(raw);
  if (is_float(type)) return (raw == 0.0 && !std::signbit(raw)) || (size >= float_plausible_from && size < float_plausible_below);
  return size < whole_plausible_below;
}

/// An unsigned reading that its signed sister gives as well says nothing new.
bool is_told_by_signed(Type type, double raw) {
  switch (type) {
    case Type::uint16: return raw < 32768.0;
    case Type::uint32: return raw < 2147483648.0;
    case Type::uint64: return raw < 9223372036854775808.0;
    default: return false;
  }
}

/// Calls `take(type, order, raw)` for each way to read what begins at an address.
template <class Take>
void each_way(const Window& window, int address, bool with_long, const Take& take) {
  const auto with = [&](Type type, WordOrder order) {
    const auto raw = raw_at(window, address, type, order);
    if (raw && !is_told_by_signed(type, *raw)) take(type, order, *raw);
  };
  for (const Type type : single_types) with(type, WordOrder::abcd);
  for (const Type type : wide_types)
    for (const WordOrder order : word_orders) with(type, order);
  if (!with_long) return;
  for (const Type type : long_types)
    for (const WordOrder order : word_orders) with(type, order);
}

struct Band {
  Likeness likeness;
  double low;
  double high;
};
// Nominal voltages and frequencies of public supplies with what they wander: common practice, no source.
constexpr std::array bands{Band{Likeness::mains_voltage, 200.0, 250.0}, Band{Likeness::mains_voltage, 100.0, 130.0}, Band{Likeness::mains_frequency, 45.0, 65.0},
                           Band{Likeness::room_temperature, 15.0, 32.0}};
constexpr std::array scales{1.0, 0.1, 0.01, 0.001};
constexpr std::size_t guesses_max = 3;

/// Least first: the simple explanation.
int rank(const Guess& guess) {
  const Way& way = guess.way;
  const bool is_swapped = way.order == WordOrder::badc || way.order == WordOrder::dcba;
  const int of_type = is_float(way.type) ? 0 : width(way.type) == 1 ? 1 : 3;
  // A bare 230 or a 2305 in tenths are usual; a bare 50 or 23 hardly says anything.
  const bool is_coarse = way.scale == 1.0 && !is_float(way.type) && guess.likeness != Likeness::mains_voltage;
  return of_type + (is_swapped ? 4 : 0) + (is_coarse ? 3 : 0);
}

void guess_at(const Way& plain, std::vector<Guess>& guesses) {
  if (!is_float(plain.type) && width(plain.type) > 1 && std::fabs(plain.value) < one_register) return;
  for (const double scale : scales) {
    if (is_float(plain.type) && scale != 1.0) break;
    // Thousandths of such a quantity need more than one register can hold; what fits is chance.
    if (width(plain.type) == 1 && scale < 0.01) break;
    const double value = plain.value * scale;
    for (const Band& band : bands) {
      if (value < band.low || value > band.high) continue;
      Way way = plain;
      way.scale = scale;
      way.value = value;
      guesses.push_back({way, band.likeness});
    }
  }
}

/// How odd a match is, least first; -1: too odd to be told.
int oddity(const Way& way, double raw, int exponent) {
  const bool is_swapped = way.order == WordOrder::badc || way.order == WordOrder::dcba;
  const int swap = is_swapped ? 2 : 0;
  constexpr double coarse_below = 10.0;  // so few counts match nearly anything at some scale
  if (is_float(way.type)) {
    const bool is_prefix = exponent % 3 == 0;  // milli, kilo
    return exponent == 0 ? swap : is_prefix ? 3 + swap : 6 + swap;
  }
  if (exponent != 0 && std::fabs(raw) < coarse_below) return -1;
  if (width(way.type) > 1 && std::fabs(raw) < one_register) return -1;
  const int of_scale = exponent > 0 ? 4 : exponent < -6 ? 5 : 1;
  return of_scale + (width(way.type) - 1) + swap;
}

}  // namespace

std::string_view to_word(Likeness likeness) {
  switch (likeness) {
    case Likeness::mains_voltage: return "mains voltage";
    case Likeness::mains_frequency: return "mains frequency";
    case Likeness::room_temperature: break;
  }
  return "room temperature";
}

std::vector<WindowRow> read_rows(const Window& window) {
  std::vector<WindowRow> rows;
  for (std::size_t i = 0; i < window.words.size(); ++i) {
    WindowRow row;
    row.address = window.first + static_cast<int>(i);
    row.is_edge = window.is_edge(row.address);
    row.word = window.words[i];
    if (!is_bit_table(window.table))
      each_way(window, row.address, false, [&](Type type, WordOrder order, double raw) {
        if (!is_plausible(type, raw)) return;
        row.ways.push_back({row.address, type, order, 1.0, raw});
        guess_at(row.ways.back(), row.guesses);
      });
    std::stable_sort(row.guesses.begin(), row.guesses.end(), [](const Guess& a, const Guess& b) { return rank(a) < rank(b); });
    if (row.guesses.size() > guesses_max) row.guesses.resize(guesses_max);
    rows.push_back(std::move(row));
  }
  return rows;
}

std::vector<ScanMatch> find_value(const Window& window, double expected) {
  std::vector<std::pair<int, ScanMatch>> found;
  if (expected == 0.0 || is_bit_table(window.table)) return {};
  for (std::size_t i = 0; i < window.words.size(); ++i) {
    const int address = window.first + static_cast<int>(i);
    each_way(window, address, true, [&](Type type, WordOrder order, double raw) {
      if (raw == 0.0 || std::signbit(raw) != std::signbit(expected)) return;
      constexpr int exponent_max = 9;
      const int exponent = static_cast<int>(std::lround(std::log10(expected / raw)));
      if (exponent < -exponent_max || exponent > exponent_max) return;
      // A negative power is divided by, so that 0.001 is the nearest double to it.
      const double power = std::pow(10.0, std::abs(exponent));
      const double scale = exponent < 0 ? 1.0 / power : power;
      const double value = exponent < 0 ? raw / power : raw * power;
      const double off = 100.0 * std::fabs(value - expected) / std::fabs(expected);
      if (off > match_within_percent) return;
      ScanMatch match{{address, type, order, scale, value}, off, address < window.from ? -1 : address >= window.from + window.count ? 1 : 0};
      const int odd = oddity(match.way, raw, exponent);
      if (odd >= 0) found.emplace_back(odd, match);
    });
  }
  std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) {
    const auto key = [](const auto& one) { return std::tuple(one.first, one.second.off_percent); };
    return key(a) < key(b);
  });
  std::vector<ScanMatch> matches;
  for (auto& [odd, match] : found) matches.push_back(match);
  return matches;
}

std::string scale_text(double scale) {
  std::array<char, 64> text{};
  const auto end = std::to_chars(text.data(), text.data() + text.size(), scale, std::chars_format::fixed).ptr;
  return {text.data(), end};
}

std::string channel_lines(RegisterTable table, const Way& way, std::string_view name, std::string_view quantity, std::string_view uom) {
  std::string lines = "[[channel]]\nname = \"" + std::string(name) + "\"\ntable = \"" + std::string(to_word(table)) + "\"\naddress = " + std::to_string(way.address) +
                      "  # zero-based; a manual may call it " + manual_number(table, way.address) + "\n";
  if (!is_bit_table(table)) {
    lines += "type = \"" + std::string(to_word(way.type)) + "\"\n";
    if (width(way.type) > 1) lines += "word_order = \"" + std::string(to_word(way.order)) + "\"\n";
    if (way.scale != 1.0) lines += "scale = " + scale_text(way.scale) + "\n";
  }
  return lines + "quantity = \"" + std::string(quantity) + "\"\nuom = \"" + std::string(uom) + "\"\n";
}

std::string manual_number(RegisterTable table, int address) {
  constexpr std::array<char, 4> digits{'0', '1', '4', '3'};  // coil, discrete, holding, input
  constexpr int numbers_of_four_digits = 9999;
  const std::string number = std::to_string(address + 1);
  const std::size_t wanted = address + 1 <= numbers_of_four_digits ? 4 : 5;
  return digits[static_cast<std::size_t>(table)] + std::string(wanted - std::min(wanted, number.size()), '0') + number;
}

}  // namespace steadyglow::drivers::modbus
