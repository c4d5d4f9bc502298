/// The published tables once more, through the chain of a point as a person writes it.
#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "reference_rows.hpp"
#include "sensor/chain.hpp"
#include "support/chain_text.hpp"

namespace steadyglow::sensor {
namespace {

using reference::rows;
using tests::chain_of;

Chain thermocouple(const std::string& letter, const std::string& terminals) {
  const auto read = chain_of("thermocouple = { type = \"" + letter + "\", " + terminals + " }", Quantity::voltage, "mV", Quantity::temperature, "Cel");
  EXPECT_TRUE(read.fits) << read.said;
  return read.chain;
}
double printed(double value, double step) { return std::round(value / step) * step; }

TEST(ChainTables, EveryThermocoupleValueIsMetBothWaysWithTheTerminalsAtZero) {
  std::map<std::string, Chain> chains;
  std::size_t forward = 0, backward = 0, mismatches = 0;
  for (const auto& row : rows("thermocouple_tables.csv")) {
    const std::string& letter = row.text("type");
    if (!chains.contains(letter)) chains.emplace(letter, thermocouple(letter, "cold_junction_celsius = 0.0"));
    const Chain& chain = chains.at(letter);
    const double t = row.number("t_degC");
    const double millivolts = row.number("emf_mV_printed");
    if (t < thermocouple_range(*thermocouple_type_from(letter[0])).inverse_low.value) continue;
    const auto raw = raw_for(chain, t);
    ASSERT_TRUE(raw) << letter << " at " << t;
    mismatches += std::abs(printed(*raw, 0.001) - millivolts) > 1e-9 ? 1 : 0;
    ++forward;
    // The printed microvolt leaves a span of temperatures open: what comes back, turned into volts, must print the same.
    const auto converted = convert(chain, millivolts, Quality::good);
    ASSERT_EQ(converted.quality, Quality::good) << letter << " at " << t;
    mismatches += std::abs(*raw_for(chain, converted.value) - millivolts) > 0.000501 ? 1 : 0;
    ++backward;
  }
  EXPECT_EQ(mismatches, 0u);
  EXPECT_EQ(forward, 12026u - 250u);
  EXPECT_EQ(backward, forward);
}

// Both voltages from the printed table, E(t) - E(23): each is rounded to a microvolt, so their difference is good to one.
TEST(ChainTables, EveryTypeKValueIsMetWithTheTerminalsAt23Degrees) {
  std::map<double, double> table;
  for (const auto& row : rows("thermocouple_tables.csv"))
    if (row.text("type") == "K") table[row.number("t_degC")] = row.number("emf_mV_printed");
  const Chain held = thermocouple("K", "cold_junction_celsius = 23.0");
  const Chain measured = thermocouple("K", "cold_junction = \"room.temperature\"");
  const double of_terminals = table.at(23.0);
  EXPECT_DOUBLE_EQ(of_terminals, 0.919);
  std::size_t checked = 0;
  for (const auto& [t, millivolts] : table) {
    if (t < -200.0) continue;  // below, a microvolt is a third of a kelvin and more
    const auto converted = convert(held, millivolts - of_terminals, Quality::good);
    ASSERT_EQ(converted.quality, Quality::good) << t;
    ASSERT_NEAR(converted.value, t, 0.00101 * converted.slope) << t;
    ASSERT_EQ(convert(measured, millivolts - of_terminals, Quality::good, Celsius{23.0}).value, converted.value) << t;
    ++checked;
  }
  EXPECT_EQ(checked, 1573u);
}

TEST(ChainTables, EveryColdJunctionRowIsMet) {
  for (const auto& row : rows("cold_junction.csv")) {
    const auto converted = convert(thermocouple(row.text("type"), "cold_junction = \"room.temperature\""), row.number("emf_measured_mV"), Quality::good, Celsius{row.number("t_ref_degC")});
    ASSERT_EQ(converted.quality, Quality::good);
    EXPECT_NEAR(converted.value, row.number("t_hot_degC"), 1e-4 + 1e-6 * converted.slope);
  }
}

TEST(ChainTables, EveryPlatinumValueIsMetWithAndWithoutLeads) {
  std::size_t checked = 0;
  const auto chain = [](const std::string& text) { return chain_of("platinum = { " + text + " }", Quantity::resistance, "Ohm", Quantity::temperature, "Cel").chain; };
  const Chain four = chain("at_zero_ohms = 100, wires = 4"), two = chain("at_zero_ohms = 100, wires = 2, lead_ohms = 0.4"), thousand = chain("at_zero_ohms = 1000, wires = 3");
  for (const auto& row : rows("platinum.csv")) {
    const double t = row.number("t_degC"), r = row.number("r_ohm_full");
    EXPECT_NEAR(convert(four, r, Quality::good).value, t, 5e-6) << t;
    EXPECT_NEAR(convert(two, r + 0.4, Quality::good).value, t, 5e-6) << t;
    EXPECT_NEAR(convert(thousand, 10.0 * r, Quality::good).value, t, 5e-6) << t;
    if (!row.has("printed_ohm")) continue;
    EXPECT_NEAR(printed(*raw_for(four, t), 0.01), row.number("printed_ohm"), 1e-9) << t;
    ++checked;
  }
  EXPECT_EQ(checked, 81u);
}

TEST(ChainTables, EveryThermistorValueIsMetInOhmsAndInVolts) {
  for (const auto& row : rows("thermistor_beta.csv")) {
    const std::string part = "ohms_at_25 = " + row.text("r25_ohm") + ", beta = " + row.text("beta_K");
    const auto in_ohms = chain_of("thermistor = { " + part + " }", Quantity::resistance, "Ohm", Quantity::temperature, "Cel");
    ASSERT_TRUE(in_ohms.fits) << in_ohms.said;
    EXPECT_NEAR(convert(in_ohms.chain, row.number("r_ohm"), Quality::good).value, row.number("t_degC"), 1e-5);
    const auto in_volts = chain_of("thermistor = { " + part + ", divider = { supply_volts = 3.3, other_ohms = 10000 } }", Quantity::voltage, "V", Quantity::temperature, "Cel");
    const auto converted = convert(in_volts.chain, row.number("v_out_V"), Quality::good);
    EXPECT_NEAR(converted.value, row.number("t_degC"), 6e-7 * std::abs(converted.slope) + 1e-6);
  }
}

}  // namespace
}  // namespace steadyglow::sensor
