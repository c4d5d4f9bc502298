#include "sensor/chain.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <random>

#include "sensor/chain_words.hpp"
#include "support/chain_text.hpp"

namespace steadyglow::sensor {
namespace {

using tests::chain_of;

constexpr auto volts = Quantity::voltage;
constexpr auto amperes = Quantity::current;
constexpr auto ohms = Quantity::resistance;
constexpr auto degrees = Quantity::temperature;

Chain good_chain(const std::string& text, Quantity from, std::string_view from_uom, Quantity to, std::string_view to_uom) {
  auto read = chain_of(text, from, from_uom, to, to_uom);
  EXPECT_TRUE(read.fits) << read.said;
  return read.chain;
}
std::string refusal(const std::string& text, Quantity from, std::string_view from_uom, Quantity to, std::string_view to_uom) {
  const auto read = chain_of(text, from, from_uom, to, to_uom);
  EXPECT_FALSE(read.fits);
  return read.said;
}
double value_of(const Chain& chain, double raw, std::optional<Celsius> junction = std::nullopt) {
  const auto converted = convert(chain, raw, Quality::good, junction);
  EXPECT_EQ(converted.quality, Quality::good) << to_word(converted.quality);
  return converted.value;
}
bool says(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

const std::string high_voltage = "divider = { upper_ohms = 4e6, lower_ohms = 33200, meter_ohms = 100e3 }\n";
const std::string type_k = "thermocouple = { type = \"K\", cold_junction = \"room.temperature\" }\n";

// ---- what stands before the meter ---------------------------------------------------------------------------------

// 4 x 1 Mohm over 33.2 kohm: 600 V are 4.94 V without a meter and 3.72 V into 100 kohm. Computed from Ohm's law.
TEST(Divider, CountsTheMetersOwnInput) {
  const Chain loaded = good_chain(high_voltage, volts, "V", volts, "V");
  EXPECT_NEAR(*raw_for(loaded, 600.0), 3.72, 0.005);
  EXPECT_NEAR(value_of(loaded, 3.7159), 600.0, 0.1);
  const Chain alone = good_chain("divider = { upper_ohms = 4e6, lower_ohms = 33200, meter_ohms = 1e13 }", volts, "V", volts, "V");
  EXPECT_NEAR(*raw_for(alone, 600.0), 4.94, 0.005);
  EXPECT_NEAR(alone.factor(), 121.5, 0.05);
}

TEST(Divider, WithoutTheMetersInputIsRefusedBecauseItWouldReadLow) {
  const auto said = refusal("divider = { upper_ohms = 4e6, lower_ohms = 33200 }", volts, "V", volts, "V");
  EXPECT_TRUE(says(said, "`meter_ohms` is missing") && says(said, "reads a quarter low")) << said;
}

TEST(Shunt, TurnsMillivoltsIntoMilliamperes) {
  const Chain chain = good_chain("shunt = { ohms = 10.02 }", volts, "mV", amperes, "mA");
  EXPECT_NEAR(value_of(chain, 380.0), 380.0 / 10.02, 1e-12);
  EXPECT_NEAR(convert(chain, 380.0, Quality::good).slope, 1.0 / 10.02, 1e-12);
}

TEST(Shunt, OfNothingIsRefused) { EXPECT_TRUE(says(refusal("shunt = { ohms = 0 }", volts, "V", amperes, "A"), "a sense resistor of 0 ohm cannot be")); }

TEST(Shunt, OnACurrentIsRefused) {
  const auto said = refusal("shunt = { ohms = 1.0 }", amperes, "A", amperes, "A");
  EXPECT_TRUE(says(said, "measures current already") && says(said, "leave `shunt` out")) << said;
}

TEST(Transformer, TakesVoltsOrAmperes) {
  EXPECT_NEAR(value_of(good_chain("transformer = { primary_amperes = 20, secondary_volts = 0.333 }", volts, "mV", amperes, "A"), 33.3), 2.0, 1e-12);
  EXPECT_NEAR(value_of(good_chain("transformer = { primary_amperes = 50, secondary_amperes = 5 }", amperes, "A", amperes, "A"), 0.2), 2.0, 1e-12);
}

TEST(Transformer, OfBothKindsIsNone) { EXPECT_TRUE(says(refusal("transformer = { primary_amperes = 50 }", volts, "V", amperes, "A"), "either secondary_amperes or secondary_volts")); }

TEST(Chain, HasOneStepBeforeTheMeter) {
  EXPECT_TRUE(says(refusal(high_voltage + "shunt = { ohms = 1.0 }", volts, "V", volts, "V"), "`divider` and `shunt` cannot both"));
}

// ---- temperatures ---------------------------------------------------------------------------------------------------

TEST(Thermocouple, IsWarmerByWhatItsTerminalsAre) {
  const Chain chain = good_chain(type_k, volts, "mV", degrees, "Cel");
  // ITS-90, type K: 4.096 mV at 100 degC and 1.000 mV at 25 degC, terminals at 0.
  EXPECT_NEAR(value_of(chain, 4.096, Celsius{0.0}), 100.0, 0.02);
  EXPECT_NEAR(value_of(chain, 3.096, Celsius{25.0}), 100.0, 0.03);
}

TEST(Thermocouple, WithoutItsTerminalsIsStaleAndNoNumber) {
  const Chain chain = good_chain(type_k, volts, "mV", degrees, "Cel");
  const auto converted = convert(chain, 3.096, Quality::good, std::nullopt);
  EXPECT_EQ(converted.quality, Quality::stale);
  EXPECT_EQ(converted.value, 0.0);
}

TEST(Thermocouple, BeyondItsTypeIsOverRange) {
  const Chain chain = good_chain(type_k, volts, "mV", degrees, "Cel");
  EXPECT_EQ(convert(chain, 78.0, Quality::good, Celsius{23.0}).quality, Quality::over_range);
  EXPECT_EQ(convert(chain, -9.0, Quality::good, Celsius{23.0}).quality, Quality::over_range);
}

TEST(Thermocouple, InAnRtdSlotIsRefused) {
  const auto said = refusal(type_k, ohms, "Ohm", degrees, "Cel");
  EXPECT_TRUE(says(said, "an RTD slot gives ohms, and a thermocouple wants volts") && says(said, "hint:")) << said;
}

TEST(Thermocouple, ThatTheModuleHasConvertedIsRefused) {
  const auto said = refusal(type_k, degrees, "Cel", degrees, "Cel");
  EXPECT_TRUE(says(said, "turned its sensor into one already") && says(said, "leave `thermocouple` out")) << said;
}

TEST(Thermocouple, OfAnUnknownLetterIsRefused) {
  EXPECT_TRUE(says(refusal("thermocouple = { type = \"C\", cold_junction_celsius = 23 }", volts, "mV", degrees, "Cel"), "there is no thermocouple type `C`"));
}

TEST(Thermocouple, WantsItsTerminalsSaidOnce) {
  EXPECT_TRUE(says(refusal("thermocouple = { type = \"K\" }", volts, "mV", degrees, "Cel"), "say how warm these are, once"));
}

// IEC 60584-2:1982 with amendment 1:1989, as makers print it.
TEST(ThermocoupleTolerance, IsThatOfTheStandardsTable) {
  const auto tolerance = [](char letter, int number, double t) {
    const auto found = thermocouple_tolerance(*thermocouple_type_from(letter), static_cast<ThermocoupleClass>(number), Celsius{t});
    return found ? found->value : -1.0;
  };
  EXPECT_DOUBLE_EQ(tolerance('K', 1, 100.0), 1.5);
  EXPECT_DOUBLE_EQ(tolerance('K', 1, 1000.0), 4.0);
  EXPECT_DOUBLE_EQ(tolerance('K', 2, 100.0), 2.5);
  EXPECT_DOUBLE_EQ(tolerance('K', 2, 1200.0), 9.0);
  EXPECT_DOUBLE_EQ(tolerance('K', 3, -200.0), 3.0);
  EXPECT_DOUBLE_EQ(tolerance('T', 1, 100.0), 0.5);
  EXPECT_DOUBLE_EQ(tolerance('T', 2, 350.0), 2.625);
  EXPECT_DOUBLE_EQ(tolerance('S', 1, 1600.0), 2.5);
  EXPECT_DOUBLE_EQ(tolerance('R', 2, 1000.0), 2.5);
  EXPECT_DOUBLE_EQ(tolerance('B', 2, 800.0), 2.0);
  EXPECT_DOUBLE_EQ(tolerance('B', 3, 800.0), 4.0);
  EXPECT_EQ(tolerance('B', 1, 800.0), -1.0);
  EXPECT_EQ(tolerance('J', 3, 0.0), -1.0);
  EXPECT_EQ(tolerance('K', 1, 1100.0), -1.0);
}

TEST(Platinum, OfTwoWiresIsLessItsLeads) {
  const Chain chain = good_chain("platinum = { at_zero_ohms = 100, wires = 2, lead_ohms = 0.4 }", ohms, "Ohm", degrees, "Cel");
  EXPECT_NEAR(value_of(chain, 138.9055), 100.0, 0.001);  // IEC 60751: 138.5055 ohm at 100 degC
}

TEST(Platinum, OfTwoWiresWantsItsLeadsMeasured) {
  const auto said = refusal("platinum = { at_zero_ohms = 100, wires = 2 }", ohms, "Ohm", degrees, "Cel");
  EXPECT_TRUE(says(said, "a degree too warm") && says(said, "short them at the sensor")) << said;
}

TEST(Platinum, OfFourWiresHasNoLeads) { EXPECT_TRUE(says(refusal("platinum = { at_zero_ohms = 100, wires = 4, lead_ohms = 0.4 }", ohms, "Ohm", degrees, "Cel"), "four wires do not see their leads")); }

TEST(Platinum, WithALeadOffIsOpenAndWithAShortIsOverRange) {
  const Chain chain = good_chain("platinum = { at_zero_ohms = 100, wires = 4 }", ohms, "Ohm", degrees, "Cel");
  EXPECT_EQ(convert(chain, 3000.0, Quality::good).quality, Quality::open_sensor);
  EXPECT_EQ(convert(chain, 0.2, Quality::good).quality, Quality::over_range);
}

TEST(Platinum, OnVoltsIsRefused) { EXPECT_TRUE(says(refusal("platinum = { at_zero_ohms = 100, wires = 4 }", volts, "V", degrees, "Cel"), "a platinum sensor is a resistance")); }

TEST(Platinum, OfImpossibleOhmsIsRefused) { EXPECT_TRUE(says(refusal("platinum = { at_zero_ohms = 0.1, wires = 4 }", ohms, "Ohm", degrees, "Cel"), "a platinum sensor at 0 degC of 0.1 ohm cannot be")); }

TEST(Thermistor, InADividerIsOpenAtItsRail) {
  const Chain low = good_chain("thermistor = { ohms_at_25 = 10000, beta = 3950, divider = { supply_volts = 3.3, other_ohms = 10000 } }", volts, "V", degrees, "Cel");
  EXPECT_NEAR(value_of(low, 1.65), 25.0, 1e-9);
  EXPECT_EQ(convert(low, 3.3, Quality::good).quality, Quality::open_sensor);
  EXPECT_EQ(convert(low, 0.0, Quality::good).quality, Quality::over_range);
  const Chain high = good_chain("thermistor = { ohms_at_25 = 10000, beta = 3950, divider = { supply_volts = 3.3, other_ohms = 10000, low_side = false } }", volts, "V", degrees, "Cel");
  EXPECT_EQ(convert(high, 0.0, Quality::good).quality, Quality::open_sensor);
}

TEST(Thermistor, WithFiguresForKilohmsIsRefused) {
  const auto said = refusal("thermistor = { a = 0.00335, b = 2.56e-4, c = 2.1e-6 }", ohms, "Ohm", degrees, "Cel");
  EXPECT_TRUE(says(said, "at 25 degC") && says(said, "are they for kilohms")) << said;
}

TEST(Thermistor, OnVoltsSaysWhatFeedsIt) { EXPECT_TRUE(says(refusal("thermistor = { ohms_at_25 = 10000, beta = 3950 }", volts, "V", degrees, "Cel"), "say what feeds it")); }

// ---- the whole ------------------------------------------------------------------------------------------------------

TEST(Chain, KeepsToItsOrderWhateverTheOrderOfTheKeys) {
  const Chain chain = good_chain("offset = -0.5\nscale = 2.0\n" + high_voltage + "accept = { low = 0.0, high = 5.0 }", volts, "V", volts, "V");
  EXPECT_NEAR(value_of(chain, 1.0), 2.0 * (1.0 + 4e6 / (1.0 / (1.0 / 33200.0 + 1.0 / 100e3))) - 0.5, 1e-9);
  EXPECT_EQ(convert(chain, 5.01, Quality::good).quality, Quality::over_range);
}

TEST(Chain, LeavesABadReadingBad) {
  const Chain chain = good_chain(type_k, volts, "mV", degrees, "Cel");
  for (const Quality quality : {Quality::open_sensor, Quality::other_meter, Quality::no_answer}) EXPECT_EQ(convert(chain, 3.0, quality, Celsius{23.0}).quality, quality);
}

TEST(Chain, MakesNoNumberOfWhatIsNone) {
  for (const double raw : {std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) {
    const auto converted = convert(good_chain(high_voltage, volts, "V", volts, "V"), raw, Quality::good);
    EXPECT_EQ(converted.quality, Quality::implausible);
    EXPECT_EQ(converted.value, 0.0);
  }
}

TEST(Chain, SaysWhatTurnsAChannelIntoThePoint) {
  EXPECT_TRUE(says(refusal("", volts, "V", amperes, "A"), "measures voltage, but `sink_c` is current hint: over a sense resistor"));
  EXPECT_TRUE(says(refusal("", ohms, "Ohm", degrees, "Cel"), "ohms become degrees by platinum"));
}

TEST(Chain, ReadsItselfInWords) {
  EXPECT_EQ(words_of(good_chain(high_voltage, volts, "V", volts, "V")), "divider 4 MΩ over 33.2 kΩ with 100 kΩ input: × 161.5");
  EXPECT_EQ(words_of(good_chain("shunt = { ohms = 10.02, tolerance_percent = 0.1 }", volts, "mV", amperes, "mA")), "current through 10.02 Ω ±0.1 %");
  EXPECT_EQ(words_of(good_chain(type_k, volts, "mV", degrees, "Cel")), "thermocouple type K, its terminals at room.temperature");
  EXPECT_EQ(words_of(good_chain("", volts, "V", volts, "mV")), "");
}

/// Chains of every kind, with raw values that they take.
struct Case {
  const char* text;
  Quantity from;
  const char* from_uom;
  Quantity to;
  const char* to_uom;
  double low;
  double high;
};
constexpr std::array cases{
    Case{"scale = 121.5\noffset = 0.3", volts, "V", volts, "V", -10.0, 10.0},
    Case{"divider = { upper_ohms = 4e6, lower_ohms = 33200, meter_ohms = 100e3 }", volts, "mV", volts, "V", 10.0, 9000.0},
    Case{"shunt = { ohms = 0.22 }", volts, "mV", amperes, "mA", 0.1, 100.0},
    Case{"transformer = { primary_amperes = 20, secondary_volts = 0.333 }", volts, "V", amperes, "A", 0.0, 0.3},
    Case{"thermocouple = { type = \"K\", cold_junction = \"a.b\" }", volts, "uV", degrees, "Cel", -2000.0, 40000.0},
    Case{"thermocouple = { type = \"T\", cold_junction_celsius = 21.5 }\noffset = -0.4", volts, "mV", degrees, "Cel", -2.0, 15.0},
    Case{"platinum = { at_zero_ohms = 100, wires = 3, lead_ohms = 0.1 }", ohms, "Ohm", degrees, "Cel", 60.0, 250.0},
    Case{"platinum = { at_zero_ohms = 1000, wires = 4 }", ohms, "kOhm", degrees, "Cel", 0.6, 2.0},
    Case{"thermistor = { ohms_at_25 = 10000, beta = 3950 }", ohms, "kOhm", degrees, "Cel", 0.5, 100.0},
    Case{"thermistor = { a = 0.0011212672, b = 2.3534849e-4, c = 8.3802405e-8 }", ohms, "Ohm", degrees, "Cel", 500.0, 300000.0},
    Case{"thermistor = { ohms_at_25 = 10000, beta = 3950, divider = { supply_volts = 3.3, other_ohms = 10000 } }", volts, "V", degrees, "Cel", 0.2, 3.1},
    Case{"thermistor = { ohms_at_25 = 10000, beta = 3950, divider = { supply_volts = 5, other_ohms = 4700, low_side = false } }", volts, "mV", degrees, "Cel", 300.0, 4700.0},
};

TEST(Chain, TurnsBackIntoTheRawValueThatMadeIt) {
  for (const Case& one : cases) {
    const Chain chain = good_chain(one.text, one.from, one.from_uom, one.to, one.to_uom);
    for (double share = 0.0; share <= 1.0; share += 0.05) {
      const double raw = one.low + share * (one.high - one.low);
      const auto back = raw_for(chain, value_of(chain, raw, junction_assumed), junction_assumed);
      ASSERT_TRUE(back) << one.text;
      EXPECT_NEAR(*back, raw, 1e-7 * std::max(std::fabs(raw), one.high - one.low)) << one.text;
    }
  }
}

TEST(Chain, KnowsItsSlope) {
  for (const Case& one : cases) {
    const Chain chain = good_chain(one.text, one.from, one.from_uom, one.to, one.to_uom);
    const double step = 1e-5 * (one.high - one.low);
    for (double share = 0.05; share < 1.0; share += 0.05) {
      const double raw = one.low + share * (one.high - one.low);
      const double measured = (value_of(chain, raw + step, junction_assumed) - value_of(chain, raw - step, junction_assumed)) / (2.0 * step);
      EXPECT_NEAR(convert(chain, raw, Quality::good, junction_assumed).slope / measured, 1.0, 1e-3) << one.text << " at " << raw;
    }
  }
}

// ---- uncertainty ----------------------------------------------------------------------------------------------------

TEST(ChainDoubt, OfADividerIsThatOfItsMeterAndItsResistors) {
  const Chain chain = good_chain("divider = { upper_ohms = 4e6, lower_ohms = 33200, meter_ohms = 100e3, tolerance_percent = 1.0 }", volts, "V", volts, "V");
  const double raw = *raw_for(chain, 452.0);
  const auto doubt = doubt_of(chain, raw, {.meter = 0.003, .junction = {}});
  ASSERT_TRUE(doubt);
  // u of the meter times 161.5, and sqrt(2) times 1 % of 452 V over sqrt(3): GUM 5.1.2 and 5.1.6 by hand.
  EXPECT_NEAR(doubt->standard, std::hypot(0.003 * 161.46, 452.0 * 0.01 * std::sqrt(2.0 / 3.0) * 160.46 / 161.46), 0.01);
  EXPECT_TRUE(doubt->left_out.empty());
}

TEST(ChainDoubt, OfAThermocoupleHoldsItsClassAndItsTerminals) {
  const Chain chain = good_chain("thermocouple = { type = \"K\", class = 1, cold_junction = \"a.b\" }", volts, "uV", degrees, "Cel");
  const double raw = *raw_for(chain, 60.0, Celsius{23.0});
  const auto doubt = doubt_of(chain, raw, {.meter = 4.0, .junction = 0.3}, Celsius{23.0});
  ASSERT_TRUE(doubt);
  // 4 uV at 41.2 uV/K; class 1 is 1.5 K; 0.3 K at the terminals, where the wire gives 40.3 uV/K (ITS-90 tables).
  EXPECT_NEAR(doubt->standard, std::hypot(4.0 / 41.2, 1.5 / std::sqrt(3.0), 0.3 * 40.3 / 41.2), 0.003);
}

TEST(ChainDoubt, SaysWhatIsNotInIt) {
  const auto doubt = doubt_of(good_chain("platinum = { at_zero_ohms = 100, wires = 4 }", ohms, "Ohm", degrees, "Cel"), 120.0, {});
  ASSERT_TRUE(doubt);
  EXPECT_EQ(doubt->left_out, (std::vector<std::string>{"the meter's accuracy", "the sensor's class"}));
}

TEST(ChainDoubt, SaysWhichPartsOfAChainHaveNoTolerance) {
  const auto left_out = [](const std::string& text, Quantity from, const char* from_uom, Quantity to, const char* to_uom, double raw) {
    const auto doubt = doubt_of(good_chain(text, from, from_uom, to, to_uom), raw, {.meter = 0.001, .junction = {}});
    return doubt ? doubt->left_out : std::vector<std::string>{"no value"};
  };
  using Words = std::vector<std::string>;
  EXPECT_EQ(left_out("thermistor = { ohms_at_25 = 10000, beta = 3950, tolerance_kelvin = 0.2, divider = { supply_volts = 3.3, other_ohms = 10000 } }", volts, "V", degrees, "Cel", 1.6),
            Words{"the tolerance of the resistor and of the supply that feed the thermistor"});
  EXPECT_EQ(left_out("thermistor = { ohms_at_25 = 10000, beta = 3950, tolerance_kelvin = 0.2 }", ohms, "Ohm", degrees, "Cel", 9000.0), Words{});
  EXPECT_EQ(left_out("platinum = { at_zero_ohms = 100, wires = 2, lead_ohms = 0.4, class = \"B\" }", ohms, "Ohm", degrees, "Cel", 120.0), Words{"how well its leads were measured"});
  EXPECT_EQ(left_out("platinum = { at_zero_ohms = 100, wires = 3, class = \"B\" }", ohms, "Ohm", degrees, "Cel", 120.0), Words{});
  EXPECT_EQ(left_out("scale = 121.5", volts, "V", volts, "V", 3.0), Words{"how well its scale was found"});
  EXPECT_EQ(left_out("scale = -1.0", volts, "V", volts, "V", 3.0), Words{});
  EXPECT_EQ(left_out("offset = -0.2", volts, "V", volts, "V", 3.0), Words{"how well its offset was found"});
}

// ---- what somebody might write --------------------------------------------------------------------------------------

// Whatever stands there: a mistake with its place, or a chain that gives finite numbers or a quality. 20,000 texts of one seed.
TEST(ChainText, OfAnyKindIsAMistakeOrAChainThatHolds) {
  std::mt19937 dice(41);
  const auto pick = [&](const auto& from) { return from[dice() % from.size()]; };
  const std::array<std::string, 18> figures{"0", "-1", "1", "1e-9", "33200", "4e6", "1e30", "nan", "inf", "-inf", "\"K\"", "\"\"", "true", "[]", "{}", "0.4", "3950", "2"};
  const std::array<std::string, 8> steps{"accept", "divider", "shunt", "transformer", "thermocouple", "platinum", "thermistor", "scale"};
  const std::array<std::string, 24> keys{"low", "high", "upper_ohms", "lower_ohms", "meter_ohms", "ohms", "primary_amperes", "secondary_amperes", "secondary_volts", "type", "cold_junction", "cold_junction_celsius",
                                         "class", "at_zero_ohms", "wires", "lead_ohms", "ohms_at_25", "beta", "a", "b", "c", "tolerance_percent", "tolerance_kelvin", "divider"};
  const std::array<std::pair<Quantity, const char*>, 4> ends{{{volts, "mV"}, {amperes, "A"}, {ohms, "Ohm"}, {degrees, "Cel"}}};
  std::size_t fitting = 0;
  for (int i = 0; i < 20000; ++i) {
    std::string text;
    for (const std::string& step : steps) {
      if (dice() % 4 != 0) continue;
      text += step + " = " + (dice() % 5 == 0 ? pick(figures) : [&] {
        std::string table = "{";
        for (const std::string& key : keys)
          if (dice() % 6 == 0) table += (table.size() > 1 ? ", " : " ") + key + " = " + pick(figures);
        return table + " }";
      }()) + "\n";
    }
    const auto [from, from_uom] = pick(ends);
    const auto [to, to_uom] = pick(ends);
    const auto read = chain_of(text, from, from_uom, to, to_uom);
    ASSERT_TRUE(read.fits || !read.said.empty()) << text;
    fitting += read.fits ? 1 : 0;
    if (!read.fits) continue;
    for (const double raw : {-1e6, -1.0, 0.0, 1e-6, 0.5, 3.0, 120.0, 1e9}) {
      const auto converted = convert(read.chain, raw, Quality::good, Celsius{23.0});
      ASSERT_TRUE(std::isfinite(converted.value)) << text << raw;
    }
  }
  EXPECT_GT(fitting, 100u);
}

}  // namespace
}  // namespace steadyglow::sensor
