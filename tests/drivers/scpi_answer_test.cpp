#include "drivers/scpi/answer.hpp"

#include <gtest/gtest.h>

#include <clocale>
#include <string>

namespace steadyglow::drivers::scpi {
namespace {

struct Row {
  const char* text;
  double value;
  Quality quality;
};

// Forms of IEEE 488.2 response data; the first three stand in instrument manuals as the same number, the rest are ours.
constexpr Row numbers[] = {
    {"273", 273.0, Quality::good},
    {"0.273", 0.273, Quality::good},
    {"2.73E+2", 273.0, Quality::good},
    {"+273", 273.0, Quality::good},
    {"-12", -12.0, Quality::good},
    {"-.5", -0.5, Quality::good},
    {"12.", 12.0, Quality::good},
    {"+1.23456789E-03", 0.00123456789, Quality::good},
    {"-4.5e-6", -0.0000045, Quality::good},
    {"+0.00000000E+00", 0.0, Quality::good},
    {" 1.5 ", 1.5, Quality::good},
};

TEST(ScpiNumber, ReadsEveryFormOfTheStandard) {
  for (const Row& row : numbers) {
    const Number number = read_number(row.text);
    EXPECT_EQ(number.quality, row.quality) << row.text;
    EXPECT_EQ(number.value, row.value) << row.text;
  }
}

TEST(ScpiNumber, ReadsThemInEveryLocale) {
  const char* german = std::setlocale(LC_ALL, "de_DE.UTF-8");  // where it is installed; the reading itself knows no locale
  EXPECT_EQ(read_number("1.5").value, 1.5);
  if (german != nullptr) std::setlocale(LC_ALL, "C");
}

TEST(ScpiNumber, InfinityIsOverRangeAndNeverAValue) {
  // SCPI-1999 volume 1, section 7.2.1: 9.9E37 and -9.9E37; spellings as instruments write them.
  for (const char* text : {"9.9E37", "-9.9E37", "+9.90000000E+37", "-9.90000000E+37", "9.9e+37", "+9.90000013E+37"})
    EXPECT_EQ(read_number(text).quality, Quality::over_range) << text;
}

TEST(ScpiNumber, NotANumberIsImplausible) {
  // SCPI-1999 volume 1, section 7.2.1: 9.91E37.
  for (const char* text : {"9.91E37", "9.91000E+37", "+9.91000000E+37", "NAN", "nan"}) {
    EXPECT_EQ(read_number(text).quality, Quality::implausible) << text;
    EXPECT_EQ(read_number(text).trouble, "") << text;
  }
}

TEST(ScpiNumber, OverloadWordsOfMetersAreOverRange) {
  for (const char* text : {"OL", "-OL", "+OL", "ol", "O.L", "OVLD", "OVERLOAD", "INF", "-INF", "NINF"}) EXPECT_EQ(read_number(text).quality, Quality::over_range) << text;
}

TEST(ScpiNumber, WhatIsNoNumberIsToldAndNeverGuessed) {
  for (const char* text : {"", "1.2.3", "1E", "--5", "+", ".", "1,5", "volts", "0x1F", "1 2", "1e5e5", "1.5\x01", "+1.0E+38", "1e400", "infinite"}) {
    const Number number = read_number(text);
    EXPECT_EQ(number.quality, Quality::implausible) << text;
    EXPECT_NE(number.trouble, "") << text;
  }
}

TEST(ScpiNumber, AUnitBehindItIsAMistakeThatIsTold) {
  for (const char* text : {"1.234 V", "1.234V", "12 mV", "5 %", "3.3\xC2\xB0"}) {
    const Number number = read_number(text);
    EXPECT_EQ(number.quality, Quality::implausible) << text;
    EXPECT_NE(number.trouble.find("unit"), std::string::npos) << number.trouble;
  }
}

TEST(ScpiIdentity, IsToldFromEveryOtherAnswer) {
  for (const char* text : {"Example Instruments,EX-1,0001,1.0", "3X Makers,MODEL 7,0,0", "MAKER,MODEL,SERIAL", " A,B,0,0\r"}) EXPECT_TRUE(is_identity(text)) << text;
  for (const char* text : {"", "1.0", "+1.0E+00,+2.0E+00,+3.0E+00", "OL,OL,OL", "1.2 V,3.4 V,5.6 V", "0,\"No error\"", "-113,\"Undefined header;A,B,C\"", "1", "ON", "VOLT",
                           "\"VOLT\"", "9.9E37,OL,NAN", "A,B", "A\x01,B,C,D"})
    EXPECT_FALSE(is_identity(text)) << text;
}

TEST(ScpiIdentity, MatchesWholeOrUpToAComma) {
  const std::string said = "Example Instruments,EX-1,0001,1.0";
  EXPECT_TRUE(is_same_identity(said, said));
  EXPECT_TRUE(is_same_identity(" Example Instruments,EX-1,0001 ", said + "\r"));
  EXPECT_FALSE(is_same_identity("Example Instruments,EX-1,000", said));
  EXPECT_FALSE(is_same_identity("Example Instruments,EX-1,0001,1.0,x", said));
  EXPECT_FALSE(is_same_identity("Example Instruments,EX-1,0002", said));
}

TEST(ScpiError, IsReadInEveryFormThatInstrumentsWrite) {
  // Forms of SYST:ERR? answers as instruments' manuals show them; the codes by SCPI-1999 volume 2, section 21.8.
  const std::pair<const char*, int> rows[] = {{"0,\"No error\"", 0},
                                              {"+0,\"No error\"", 0},
                                              {"0,No error", 0},
                                              {"0", 0},
                                              {"-113,\"Undefined header\"", -113},
                                              {"-113,\"Undefined header;ABC:X00\"", -113},
                                              {"-350,\"Queue overflow\"", -350},
                                              {"-222,\"Data out of range;\"\"VOLT\"\" 1000\"", -222},
                                              {"+521,\"Maker text\"", 521}};
  for (const auto& [text, code] : rows) {
    const auto entry = read_error(text);
    ASSERT_TRUE(entry) << text;
    EXPECT_EQ(entry->code, code) << text;
  }
}

TEST(ScpiError, AReadingIsNone) {
  for (const char* text : {"garbage", "", "1.5", "+0.00000000E+00", "1,2,3", "5", "-3"}) EXPECT_FALSE(read_error(text)) << text;
}

TEST(ScpiFields, AreSplitAtCommasAndSemicolons) {
  EXPECT_EQ(split_fields("1.0, 2.0;3.0").size(), 3u);
  EXPECT_EQ(split_fields("1.0, 2.0;3.0")[1], "2.0");
  EXPECT_EQ(split_fields("").size(), 1u);
}

TEST(ScpiSwitch, KnowsOnFromOffFromNeither) {
  EXPECT_EQ(read_switch("1"), true);
  EXPECT_EQ(read_switch("OFF"), false);
  EXPECT_EQ(read_switch("+0"), false);
  EXPECT_EQ(read_switch("2"), std::nullopt);
  EXPECT_EQ(read_switch("1.5"), std::nullopt);
}

}  // namespace
}  // namespace steadyglow::drivers::scpi
