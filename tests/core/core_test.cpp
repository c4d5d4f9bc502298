#include <gtest/gtest.h>

#include <clocale>

#include "core/decimal.hpp"
#include "core/quality.hpp"
#include "core/units.hpp"
#include "core/uom.hpp"

namespace steadyglow {
namespace {

TEST(Quality, EveryWordReadsBack) {
  for (std::uint8_t i = 0; i < quality_count; ++i) EXPECT_EQ(quality_from_word(to_word(static_cast<Quality>(i))), static_cast<Quality>(i));
  EXPECT_FALSE(quality_from_word("splendid").has_value());
}

TEST(Uom, ConvertsToTheBaseOfItsQuantity) {
  EXPECT_DOUBLE_EQ(find_uom(Quantity::voltage, "mV")->to_base, 1e-3);
  EXPECT_FALSE(find_uom(Quantity::voltage, "A").has_value());
  EXPECT_EQ(find_uom(Quantity::temperature, "Cel")->shown, "°C");
}

TEST(Units, TemperaturesHaveADifference) {
  EXPECT_EQ((Celsius{54.0} - Celsius{23.0}).value, 31.0);
  // 31 K over 118 W: 0.263 K/W (own arithmetic).
  EXPECT_NEAR((CelsiusDelta{31.0} / Watts{118.0}).value, 0.263, 5e-4);
  EXPECT_DOUBLE_EQ((Volts{0.25} / Ohms{10.0}).value, 0.025);
}

TEST(Decimal, ReadsTheSameInEveryLocale) {
  const std::string before = std::setlocale(LC_ALL, nullptr);
  for (const char* locale : {"C", "de_DE.UTF-8", "C.UTF-8"}) {
    std::setlocale(LC_ALL, locale);
    EXPECT_EQ(parse_decimal("1.5"), 1.5);
    EXPECT_EQ(to_decimal(1.5), "1.5");
    EXPECT_EQ(to_figure(1.5, 3), "1.50");
  }
  std::setlocale(LC_ALL, before.c_str());
}

TEST(Decimal, RefusesWhatIsNoNumber) {
  for (const char* text : {"", "nan", "inf", "1,5", "1.5V", "0x10", "--1", " 1"}) EXPECT_FALSE(parse_decimal(text).has_value()) << text;
}

TEST(Decimal, ShowsAsManyDigitsAsAsked) {
  EXPECT_EQ(to_figure(0.0234, 3), "0.02");
  EXPECT_EQ(to_figure(38.4321, 3), "38.4");
  EXPECT_EQ(to_figure(452.3, 3), "452");
  EXPECT_EQ(to_figure(81000.0, 3), "81000");
}

}  // namespace
}  // namespace steadyglow
