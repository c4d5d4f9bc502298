#include "seal/series.hpp"

#include <zstd.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>
#include <cmath>
#include <limits>
#include <optional>

namespace steadyglow::seal {
namespace {

enum class From : std::uint8_t { base, number_before };
constexpr std::size_t header_bytes = 10;      // from, planes, base
constexpr std::size_t plane_header_bytes = 4;
constexpr unsigned planes_max = 8;

/// Unsigned all along, so that any two numbers have a difference.
std::uint64_t zigzag(std::uint64_t difference) { return (difference << 1) ^ (0 - (difference >> 63)); }
std::uint64_t unzigzag(std::uint64_t coded) { return (coded >> 1) ^ (0 - (coded & 1)); }

void put(std::string& out, std::uint64_t value, unsigned bytes) {
  for (unsigned i = 0; i < bytes; ++i, value >>= 8) out += static_cast<char>(value & 0xFF);
}

std::uint64_t take(std::string_view bytes, unsigned count) {
  std::uint64_t value = 0;
  for (unsigned i = 0; i < count; ++i) value |= static_cast<std::uint64_t>(static_cast<std::uint8_t>(bytes[i])) << (8 * i);
  return value;
}

std::string pack_from(std::span<const std::int64_t> numbers, From from, std::int64_t base) {
  std::vector<std::uint64_t> coded;
  coded.reserve(numbers.size());
  std::uint64_t all_bits = 0;
  auto before = static_cast<std::uint64_t>(base);
  for (const std::int64_t number : numbers) {
    coded.push_back(zigzag(static_cast<std::uint64_t>(number) - before));
    all_bits |= coded.back();
    if (from == From::number_before) before = static_cast<std::uint64_t>(number);
  }
  const unsigned planes = (static_cast<unsigned>(std::bit_width(all_bits)) + 7) / 8;
  std::string out;
  put(out, static_cast<std::uint64_t>(from), 1);
  put(out, planes, 1);
  put(out, static_cast<std::uint64_t>(base), 8);
  std::string plane(numbers.size(), '\0');
  std::string frame(ZSTD_compressBound(plane.size()), '\0');
  for (unsigned p = 0; p < planes; ++p) {
    for (std::size_t i = 0; i < coded.size(); ++i) plane[i] = static_cast<char>(coded[i] >> (8 * p) & 0xFF);
    const std::size_t size = ZSTD_compress(frame.data(), frame.size(), plane.data(), plane.size(), zstd_level);
    assert(ZSTD_isError(size) == 0);
    put(out, size, plane_header_bytes);
    out.append(frame, 0, size);
  }
  return out;
}

tl::unexpected<Error> damaged(const char* why) { return fail(Fault::bad_data, std::string("a packed series is damaged: ") + why); }

constexpr std::array<double, decimals_max + 1> powers{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
/// Whole numbers up to here are exact in a double.
constexpr double whole_max = 9007199254740992.0;

bool is_same(double a, double b) { return std::bit_cast<std::uint64_t>(a) == std::bit_cast<std::uint64_t>(b); }

std::optional<std::int64_t> digits_of(double value, int decimals) {
  const double scaled = std::nearbyint(value * powers[static_cast<std::size_t>(decimals)]);
  if (!(std::fabs(scaled) < whole_max)) return std::nullopt;
  const auto digits = static_cast<std::int64_t>(scaled);
  // From the whole number, which has no -0.
  if (!is_same(static_cast<double>(digits) / powers[static_cast<std::size_t>(decimals)], value)) return std::nullopt;
  return digits;
}

std::optional<int> decimals_of(std::span<const double> values) {
  int decimals = 0;
  for (const double value : values)
    while (!digits_of(value, decimals))
      if (++decimals > decimals_max) return std::nullopt;
  const bool fits_all = std::all_of(values.begin(), values.end(), [&](double value) { return digits_of(value, decimals).has_value(); });
  return fits_all ? std::optional(decimals) : std::nullopt;
}

/// Bits of a value as a number that rises with the value; what is no number lies outside.
std::int64_t rising(double value) {
  const auto bits = std::bit_cast<std::int64_t>(value);
  return bits >= 0 ? bits : bits ^ std::numeric_limits<std::int64_t>::max();
}
double from_rising(std::int64_t number) { return std::bit_cast<double>(number >= 0 ? number : number ^ std::numeric_limits<std::int64_t>::max()); }

}  // namespace

std::string pack_series(std::span<const std::int64_t> numbers) {
  assert(numbers.size() <= series_numbers_max);
  if (numbers.empty()) return pack_from(numbers, From::base, 0);
  std::vector<std::int64_t> sorted(numbers.begin(), numbers.end());
  const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
  std::nth_element(sorted.begin(), middle, sorted.end());
  // What wanders is near the number before; what is mostly noise is nearer to its middle.
  std::string a = pack_from(numbers, From::number_before, numbers.front());
  std::string b = pack_from(numbers, From::base, *middle);
  return b.size() < a.size() ? b : a;
}

Result<std::vector<std::int64_t>> unpack_series(std::string_view bytes, std::size_t count) {
  if (count > series_numbers_max) return damaged("it claims more numbers than one may hold");
  if (bytes.size() < header_bytes) return damaged("it ends too early");
  const std::uint64_t from = take(bytes, 1);
  const std::uint64_t planes = take(bytes.substr(1), 1);
  const std::uint64_t base = take(bytes.substr(2), 8);
  if (from > static_cast<std::uint64_t>(From::number_before) || planes > planes_max) return damaged("its header cannot be");
  bytes.remove_prefix(header_bytes);
  std::vector<std::uint64_t> coded(count, 0);
  std::string plane(count, '\0');
  for (unsigned p = 0; p < planes; ++p) {
    if (bytes.size() < plane_header_bytes) return damaged("it ends too early");
    const std::uint64_t size = take(bytes, plane_header_bytes);
    bytes.remove_prefix(plane_header_bytes);
    if (size > bytes.size()) return damaged("it ends too early");
    const std::size_t got = ZSTD_decompress(plane.data(), plane.size(), bytes.data(), size);
    if (ZSTD_isError(got) != 0 || got != count) return damaged("a plane does not unpack to its length");
    bytes.remove_prefix(size);
    for (std::size_t i = 0; i < count; ++i) coded[i] |= static_cast<std::uint64_t>(static_cast<std::uint8_t>(plane[i])) << (8 * p);
  }
  if (!bytes.empty()) return damaged("bytes are left over");
  std::vector<std::int64_t> numbers;
  numbers.reserve(count);
  std::uint64_t before = base;
  for (const std::uint64_t one : coded) {
    const std::uint64_t number = before + unzigzag(one);
    numbers.push_back(static_cast<std::int64_t>(number));
    if (from == static_cast<std::uint64_t>(From::number_before)) before = number;
  }
  return numbers;
}

std::string_view to_word(Coding coding) {
  switch (coding) {
    case Coding::decimal: return "decimal";
    case Coding::levels: return "levels";
    case Coding::binary64: break;
  }
  return "binary64";
}

Result<Coding> coding_from_word(std::string_view word) {
  for (const Coding coding : {Coding::decimal, Coding::levels, Coding::binary64})
    if (to_word(coding) == word) return coding;
  return fail(Fault::bad_data, "an unknown coding of readings: " + std::string(word));
}

PackedValues pack_values(std::span<const double> values) {
  PackedValues packed;
  std::vector<std::int64_t> numbers;
  numbers.reserve(values.size());
  if (const auto decimals = decimals_of(values)) {
    packed.decimals = *decimals;
    for (const double value : values) numbers.push_back(*digits_of(value, *decimals));
    packed.numbers = pack_series(numbers);
    return packed;
  }
  for (const double value : values) numbers.push_back(rising(value));
  std::vector<std::int64_t> levels = numbers;
  std::sort(levels.begin(), levels.end());
  levels.erase(std::unique(levels.begin(), levels.end()), levels.end());
  if (levels.size() <= values.size() / 2) {
    packed.coding = Coding::levels;
    for (std::int64_t& number : numbers) number = std::lower_bound(levels.begin(), levels.end(), number) - levels.begin();
    for (std::int64_t& level : levels) level = std::bit_cast<std::int64_t>(from_rising(level));
    packed.level_count = static_cast<std::int64_t>(levels.size());
    packed.levels = pack_series(levels);
  } else {
    packed.coding = Coding::binary64;
    for (std::int64_t& number : numbers) number = std::bit_cast<std::int64_t>(from_rising(number));
  }
  packed.numbers = pack_series(numbers);
  return packed;
}

Result<std::vector<double>> unpack_values(const PackedValues& packed, std::size_t count) {
  auto numbers = unpack_series(packed.numbers, count);
  if (!numbers) return tl::unexpected(numbers.error());
  std::vector<double> values;
  values.reserve(count);
  switch (packed.coding) {
    case Coding::decimal:
      if (packed.decimals < 0 || packed.decimals > decimals_max) return damaged("a number of decimals that cannot be");
      for (const std::int64_t number : *numbers) values.push_back(static_cast<double>(number) / powers[static_cast<std::size_t>(packed.decimals)]);
      return values;
    case Coding::binary64:
      for (const std::int64_t number : *numbers) values.push_back(std::bit_cast<double>(number));
      return values;
    case Coding::levels: break;
  }
  if (packed.level_count < 0) return damaged("a number of levels that cannot be");
  const auto levels = unpack_series(packed.levels, static_cast<std::size_t>(packed.level_count));
  if (!levels) return tl::unexpected(levels.error());
  for (const std::int64_t number : *numbers) {
    if (number < 0 || number >= packed.level_count) return damaged("a level that is not there");
    values.push_back(std::bit_cast<double>((*levels)[static_cast<std::size_t>(number)]));
  }
  return values;
}

}  // namespace steadyglow::seal
