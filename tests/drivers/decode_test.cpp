#include "drivers/modbus/decode.hpp"

#include <gtest/gtest.h>

#include <array>
#include <bit>
#include <cmath>
#include <limits>

namespace steadyglow::drivers::modbus {
namespace {

using Words = std::array<std::uint16_t, 2>;

Words in_order(WordOrder order, std::uint8_t a, std::uint8_t b, std::uint8_t c, std::uint8_t d) {
  const auto word = [](std::uint8_t high, std::uint8_t low) { return static_cast<std::uint16_t>(high << 8 | low); };
  switch (order) {
    case WordOrder::abcd: return {word(a, b), word(c, d)};
    case WordOrder::cdab: return {word(c, d), word(a, b)};
    case WordOrder::badc: return {word(b, a), word(d, c)};
    case WordOrder::dcba: break;
  }
  return {word(d, c), word(b, a)};
}

constexpr std::array orders{WordOrder::abcd, WordOrder::cdab, WordOrder::badc, WordOrder::dcba};

TEST(Decode, ReadsThePublishedFloatPattern) {
  // 47F1 2000h = 123456.0: the pattern of the libmodbus manual, modbus_get_float_abcd(3) and its three sisters.
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::abcd, Words{0x47F1, 0x2000}), 123456.0);
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::cdab, Words{0x2000, 0x47F1}), 123456.0);
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::badc, Words{0xF147, 0x0020}), 123456.0);
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::dcba, Words{0x0020, 0xF147}), 123456.0);
}

TEST(Decode, ReadsFloatsInAllFourOrders) {
  // IEEE 754 binary32 encodings, computed apart from the driver (struct.pack of Python 3.11).
  struct Case {
    float value;
    std::array<std::uint8_t, 4> bytes;
  };
  constexpr std::array cases{
      Case{3.1415927f, {0x40, 0x49, 0x0F, 0xDB}}, Case{230.5f, {0x43, 0x66, 0x80, 0x00}}, Case{-40.0f, {0xC2, 0x20, 0x00, 0x00}},
      Case{1.0f, {0x3F, 0x80, 0x00, 0x00}},       Case{0.0f, {0, 0, 0, 0}},               Case{50.02f, {0x42, 0x48, 0x14, 0x7B}},
      Case{65504.0f, {0x47, 0x7F, 0xE0, 0x00}},
  };
  for (const Case& c : cases)
    for (const WordOrder order : orders) {
      const Words words = in_order(order, c.bytes[0], c.bytes[1], c.bytes[2], c.bytes[3]);
      EXPECT_EQ(decode_raw(Type::float32, order, words), static_cast<double>(c.value)) << c.value << " order " << static_cast<int>(order);
    }
}

TEST(Decode, ReadsIntegersInAllFourOrders) {
  // Two's complement, 32 bits, by arithmetic.
  struct Case {
    double value;
    bool is_signed;
    std::array<std::uint8_t, 4> bytes;
  };
  constexpr std::array cases{
      Case{1.0, true, {0, 0, 0, 1}},
      Case{65535.0, true, {0, 0, 0xFF, 0xFF}},
      Case{65536.0, true, {0, 1, 0, 0}},
      Case{305419896.0, true, {0x12, 0x34, 0x56, 0x78}},
      Case{2147483647.0, true, {0x7F, 0xFF, 0xFF, 0xFF}},
      Case{-1.0, true, {0xFF, 0xFF, 0xFF, 0xFF}},
      Case{-40000.0, true, {0xFF, 0xFF, 0x63, 0xC0}},
      Case{-2147483648.0, true, {0x80, 0, 0, 0}},
      Case{4294967295.0, false, {0xFF, 0xFF, 0xFF, 0xFF}},
      Case{912351.0, false, {0x00, 0x0D, 0xEB, 0xDF}},  // 13 * 65536 + 60383: an energy counter of 9123.51 kWh at 0.01
  };
  for (const Case& c : cases)
    for (const WordOrder order : orders) {
      const Words words = in_order(order, c.bytes[0], c.bytes[1], c.bytes[2], c.bytes[3]);
      EXPECT_EQ(decode_raw(c.is_signed ? Type::int32 : Type::uint32, order, words), c.value) << c.value;
    }
}

TEST(Decode, ReadsTheWorkedExamplesOfTheBinary32Format) {
  // IEEE 754-2019 binary32: sign, exponent biased by 127, 23 bits of fraction; worked from the fields.
  // 3E20 0000h: exponent 124 - 127 = -3, fraction 1.25: 0.15625. C2F6 E979h: -1.9290001 * 2^6: -123.456 to seven figures.
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::abcd, Words{0x3E20, 0x0000}), 0.15625);
  EXPECT_FLOAT_EQ(static_cast<float>(decode_raw(Type::float32, WordOrder::abcd, Words{0xC2F6, 0xE979})), -123.456f);
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::abcd, Words{0x0080, 0x0000}), 0x1p-126);   // smallest normal
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::abcd, Words{0x0000, 0x0001}), 0x1p-149);   // smallest subnormal
  EXPECT_EQ(decode_raw(Type::float32, WordOrder::abcd, Words{0x7F7F, 0xFFFF}), 0x1.fffffep127);  // largest
}

TEST(Decode, ReadsFourRegistersInAllOrders) {
  using Four = std::array<std::uint16_t, 4>;
  // IEEE 754 binary64 of pi: 4009 21FB 5444 2D18h.
  EXPECT_EQ(decode_raw(Type::float64, WordOrder::abcd, Four{0x4009, 0x21FB, 0x5444, 0x2D18}), 3.141592653589793);
  EXPECT_EQ(decode_raw(Type::float64, WordOrder::cdab, Four{0x2D18, 0x5444, 0x21FB, 0x4009}), 3.141592653589793);
  EXPECT_EQ(decode_raw(Type::float64, WordOrder::badc, Four{0x0940, 0xFB21, 0x4454, 0x182D}), 3.141592653589793);
  EXPECT_EQ(decode_raw(Type::float64, WordOrder::dcba, Four{0x182D, 0x4454, 0xFB21, 0x0940}), 3.141592653589793);
  EXPECT_EQ(decode_raw(Type::int64, WordOrder::abcd, Four{0xFFFF, 0xFFFF, 0xFFFF, 0xFFFE}), -2.0);
  EXPECT_EQ(decode_raw(Type::uint64, WordOrder::cdab, Four{0x0001, 0x0000, 0x0001, 0x0000}), 4294967297.0);
}

TEST(Decode, ReadsOneRegisterWithAndWithoutSign) {
  const std::array<std::uint16_t, 1> word{0xFFFE};
  EXPECT_EQ(decode_raw(Type::int16, WordOrder::abcd, word), -2.0);
  EXPECT_EQ(decode_raw(Type::uint16, WordOrder::abcd, word), 65534.0);
}

TEST(Decode, ScalesToTheUom) {
  Channel channel;
  channel.scale = 0.1;
  channel.offset = -40.0;
  const ChannelValue value = judge(channel, 652.0);
  EXPECT_EQ(value.quality, Quality::good);
  EXPECT_DOUBLE_EQ(value.value, 25.2);
}

TEST(Decode, ASentinelIsAQualityAndNeverAValue) {
  Channel channel;
  channel.scale = 0.1;
  channel.sentinels = {{32767.0, Quality::over_range}, {-32768.0, Quality::open_sensor}};
  EXPECT_EQ(judge(channel, 32767.0).quality, Quality::over_range);
  EXPECT_EQ(judge(channel, -32768.0).quality, Quality::open_sensor);
  EXPECT_EQ(judge(channel, 32766.0).quality, Quality::good);
}

TEST(Decode, AnImplausibleValueIsKeptAsMetAndNotClamped) {
  Channel channel;
  channel.plausible_low = -10.5;
  channel.plausible_high = 10.5;
  const ChannelValue value = judge(channel, 11.0);
  EXPECT_EQ(value.quality, Quality::implausible);
  EXPECT_EQ(value.value, 11.0);
}

TEST(Decode, TheEdgeOfThePlausibleRangeIsStillGood) {
  Channel channel;
  channel.plausible_high = 10.5;
  EXPECT_EQ(judge(channel, 10.5).quality, Quality::good);
}

TEST(Decode, WhatIsNoNumberIsImplausibleAndLeavesNoNanBehind) {
  const Channel channel;
  // IEEE 754: 7F80 0000h is infinity, 7FC0 0000h a quiet NaN.
  for (const Words& words : {Words{0x7FC0, 0x0000}, Words{0x7F80, 0x0000}, Words{0xFF80, 0x0000}}) {
    const ChannelValue value = judge(channel, decode_raw(Type::float32, WordOrder::abcd, words));
    EXPECT_EQ(value.quality, Quality::implausible);
    EXPECT_EQ(value.value, 0.0);
  }
}

}  // namespace
}  // namespace steadyglow::drivers::modbus
