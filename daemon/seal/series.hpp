#pragma once
/// Whole numbers and meter readings packed for keeping, bit for bit. The layout is in FORMAT.md, "A packed series".
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::seal {

/// Numbers in one series at most; nothing larger is ever unpacked.
inline constexpr std::size_t series_numbers_max = 65536;
inline constexpr int zstd_level = 3;

/// At most series_numbers_max numbers.
std::string pack_series(std::span<const std::int64_t> numbers);
/// Fails: Fault::bad_data unless `bytes` hold exactly `count` numbers and nothing else.
Result<std::vector<std::int64_t>> unpack_series(std::string_view bytes, std::size_t count);

/// How values became numbers.
enum class Coding : std::uint8_t {
  decimal,   ///< number / 10^decimals, the meter's own digits
  levels,    ///< the number of a value in `levels`, the different values in rising order
  binary64,  ///< the bits of the value
};
std::string_view to_word(Coding coding);
Result<Coding> coding_from_word(std::string_view word);

struct PackedValues {
  Coding coding = Coding::decimal;
  int decimals = 0;           ///< Coding::decimal only: 0 to decimals_max
  std::int64_t level_count = 0;
  std::string levels;         ///< Coding::levels only: a packed series of bits
  std::string numbers;
};
inline constexpr int decimals_max = 9;

/// Any values, also -0.0, denormals and what is no number.
PackedValues pack_values(std::span<const double> values);
Result<std::vector<double>> unpack_values(const PackedValues& packed, std::size_t count);

}  // namespace steadyglow::seal
