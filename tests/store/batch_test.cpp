#include "store/batch.hpp"

#include <gtest/gtest.h>

#include <bit>
#include <limits>
#include <random>

namespace steadyglow::store {
namespace {

bool is_same(const Reading& a, const Reading& b) {
  return a.point() == b.point() && a.at() == b.at() && a.quality() == b.quality() && std::bit_cast<std::uint64_t>(a.as_met()) == std::bit_cast<std::uint64_t>(b.as_met());
}

void expect_back(Timestamp at, const std::vector<Reading>& readings) {
  const auto back = decode_batch(at, encode_batch(at, readings));
  ASSERT_TRUE(back) << back.error().text();
  ASSERT_EQ(back->size(), readings.size());
  for (std::size_t i = 0; i < readings.size(); ++i) EXPECT_TRUE(is_same((*back)[i], readings[i])) << i;
}

TEST(Batch, KeepsEveryBitOfAValue) {
  std::vector<Reading> readings;
  for (const double value : {0.0, -0.0, 0.1, -380.25, 1e300, 5e-324, std::numeric_limits<double>::max(), std::numeric_limits<double>::infinity(), std::nan("7")})
    readings.push_back(Reading::good(PointId{0}, at_ms(5), value));
  std::mt19937_64 bits(7);
  for (int i = 0; i < 1000; ++i) readings.push_back(Reading::good(PointId{0}, at_ms(5), std::bit_cast<double>(bits())));
  expect_back(at_ms(5), readings);
}

TEST(Batch, KeepsEveryQualityAndWhatTheMeterSaidWithIt) {
  std::vector<Reading> readings;
  for (std::uint8_t quality = 0; quality < quality_count; ++quality) {
    readings.push_back(Reading::of(PointId{quality}, at_ms(5), 0.0, static_cast<Quality>(quality)));
    readings.push_back(Reading::of(PointId{quality}, at_ms(5), 32767.0, static_cast<Quality>(quality)));
  }
  expect_back(at_ms(5), readings);
}

TEST(Batch, KeepsPointsInAnyOrder) {
  std::vector<Reading> readings;
  for (const int point : {3, 4, 0, 65535, 0, 0, 7, 32768}) readings.push_back(Reading::good(PointId{static_cast<std::uint16_t>(point)}, at_ms(0), 1.0));
  expect_back(at_ms(0), readings);
}

TEST(Batch, KeepsTimesOfItsOwn) {
  expect_back(at_ms(5000), {Reading::good(PointId{0}, at_ms(5000), 1.0), Reading::good(PointId{1}, at_ms(4990), 2.0), Reading::bad(PointId{2}, at_ms(700'000'000), Quality::stale)});
}

TEST(Batch, MayBeEmpty) { expect_back(at_ms(1), {}); }

TEST(Batch, TakesNineBytesPerGoodReadingAndOnePerMissingOne) {
  std::vector<Reading> good, missing;
  for (std::uint16_t point = 0; point < 20; ++point) {
    good.push_back(Reading::good(PointId{point}, at_ms(1), 380.1));
    missing.push_back(Reading::bad(PointId{point}, at_ms(1), Quality::no_answer));
  }
  EXPECT_EQ(encode_batch(at_ms(1), good).size(), 3u + 9 * 20);
  EXPECT_EQ(encode_batch(at_ms(1), missing).size(), 3u + 20);
}

TEST(Batch, RefusesWhatIsShortOrLong) {
  const std::string whole = encode_batch(at_ms(1), std::vector{Reading::good(PointId{0}, at_ms(1), 0.1), Reading::bad(PointId{9}, at_ms(3), Quality::refused, 2.0)});
  for (std::size_t size = 0; size < whole.size(); ++size) EXPECT_FALSE(decode_batch(at_ms(1), whole.substr(0, size))) << size;
  EXPECT_FALSE(decode_batch(at_ms(1), whole + '\0'));
}

TEST(Batch, RefusesAnotherVersionUnknownFlagsAndUnknownQualities) {
  using namespace std::string_literals;
  EXPECT_FALSE(decode_batch(at_ms(1), "\2\0\0"s));
  EXPECT_FALSE(decode_batch(at_ms(1), "\1\2\0"s));
  EXPECT_FALSE(decode_batch(at_ms(1), "\1\0\1\x13"s));  // quality 9
  EXPECT_TRUE(decode_batch(at_ms(1), "\1\0\1\x11"s));   // quality 8, no value
}

TEST(Batch, SurvivesAnyBytes) {
  std::mt19937 chance(11);
  int decoded = 0;
  for (int i = 0; i < 200'000; ++i) {
    std::string bytes(chance() % 24, '\0');
    for (char& byte : bytes) byte = static_cast<char>(chance());
    if (bytes.size() > 2) bytes[0] = 1, bytes[1] &= 1, bytes[2] &= 3;
    decoded += decode_batch(at_ms(1), bytes) ? 1 : 0;
  }
  EXPECT_GT(decoded, 100);
}

}  // namespace
}  // namespace steadyglow::store
