#include "seal/series.hpp"

#include <gtest/gtest.h>

#include <bit>
#include <cmath>
#include <limits>
#include <random>

namespace steadyglow::seal {
namespace {

std::vector<std::uint64_t> bits_of(const std::vector<double>& values) {
  std::vector<std::uint64_t> bits;
  for (const double value : values) bits.push_back(std::bit_cast<std::uint64_t>(value));
  return bits;
}

/// Packed and unpacked again; says which coding was taken.
Coding there_and_back(const std::vector<double>& values) {
  const PackedValues packed = pack_values(values);
  const auto back = unpack_values(packed, values.size());
  EXPECT_TRUE(back) << back.error().text();
  if (back) {
    EXPECT_EQ(bits_of(*back), bits_of(values));
  }
  return packed.coding;
}

TEST(PackedSeries, GivesBackAnyWholeNumbers) {
  constexpr auto low = std::numeric_limits<std::int64_t>::min();
  constexpr auto high = std::numeric_limits<std::int64_t>::max();
  const std::vector<std::int64_t> numbers{0, -1, 1, high, low, high, 5, low, -1, 0};
  const auto back = unpack_series(pack_series(numbers), numbers.size());
  ASSERT_TRUE(back);
  EXPECT_EQ(*back, numbers);
}

TEST(PackedSeries, OfNothingIsNothing) {
  const auto back = unpack_series(pack_series({}), 0);
  ASSERT_TRUE(back);
  EXPECT_TRUE(back->empty());
}

TEST(PackedSeries, OfATimeGridTakesNextToNothing) {
  std::vector<std::int64_t> grid;
  for (std::int64_t i = 0; i < 60'000; ++i) grid.push_back(1000 * i);
  EXPECT_LT(pack_series(grid).size(), 100u);
}

TEST(PackedSeries, CutAnywhereIsAnErrorAndNoCrash) {
  const std::vector<std::int64_t> numbers{10, 20, 1000, 70000, -3};
  const std::string whole = pack_series(numbers);
  for (std::size_t length = 0; length < whole.size(); ++length) EXPECT_FALSE(unpack_series(whole.substr(0, length), numbers.size())) << length;
}

TEST(PackedSeries, WithBytesLeftOverIsAnError) { EXPECT_FALSE(unpack_series(pack_series(std::vector<std::int64_t>{1, 2, 3}) + "x", 3)); }

TEST(PackedSeries, OfAnotherLengthIsAnError) {
  const std::string packed = pack_series(std::vector<std::int64_t>{1, 20, 300});
  EXPECT_FALSE(unpack_series(packed, 2));
  EXPECT_FALSE(unpack_series(packed, 4));
  EXPECT_FALSE(unpack_series(packed, series_numbers_max + 1));
}

TEST(PackedValues, OfTwoDecimalsAreTheMetersOwnDigits) {
  std::mt19937 random(3);
  std::vector<double> values;
  for (int i = 0; i < 5000; ++i) values.push_back(static_cast<double>(random() % 100'000) / 100.0);
  EXPECT_EQ(there_and_back(values), Coding::decimal);
}

TEST(PackedValues, OfARegisterTimesItsScaleAreLevels) {
  std::mt19937 random(3);
  std::vector<double> values;
  for (int i = 0; i < 5000; ++i) values.push_back(static_cast<double>(random() % 300) * 0.1 * 1000.0 / 3.0);
  EXPECT_EQ(there_and_back(values), Coding::levels);
}

TEST(PackedValues, OfNoDigitsAreKeptAsTheyAre) {
  std::mt19937_64 random(3);
  std::vector<double> values;
  for (int i = 0; i < 5000; ++i) values.push_back(std::bit_cast<double>(static_cast<std::uint64_t>(random())));
  EXPECT_EQ(there_and_back(values), Coding::binary64);
}

TEST(PackedValues, GiveBackOddValuesBitForBit) {
  using Limits = std::numeric_limits<double>;
  const std::vector<double> odd{0.0, -0.0, Limits::denorm_min(), -Limits::denorm_min(), Limits::min(), Limits::max(), -Limits::max(), Limits::epsilon(), 0.1 + 0.2, 1e-300, 9007199254740993.0, 123456789.123456789,
                                Limits::infinity(), -Limits::infinity(), Limits::quiet_NaN(), -Limits::quiet_NaN(), std::bit_cast<double>(0x7ff0000000000001)};
  there_and_back(odd);
  for (const double one : odd) there_and_back({one});
  for (const double one : odd) there_and_back({380.12, one, 380.13, one, 380.12, one, 380.12, 380.12});
}

TEST(PackedValues, OfAnUnknownLevelAreAnError) {
  PackedValues packed = pack_values(std::vector<double>(6, 0.1 * 3.0));
  ASSERT_EQ(packed.coding, Coding::levels);
  packed.numbers = pack_series(std::vector<std::int64_t>{0, 0, 0, 0, 0, 7});
  EXPECT_FALSE(unpack_values(packed, 6));
}

}  // namespace
}  // namespace steadyglow::seal
