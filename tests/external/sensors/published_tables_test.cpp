#include <gtest/gtest.h>

#include <cmath>
#include <map>

#include "reference_rows.hpp"
#include "sensor/platinum.hpp"
#include "sensor/resistors.hpp"
#include "sensor/thermistor.hpp"
#include "sensor/thermocouple.hpp"

namespace steadyglow::sensor {
namespace {

using reference::rows;

ThermocoupleType type_of(const reference::Row& row) { return thermocouple_type_from(row.text("type").at(0)).value(); }
double printed(double value, double step) { return std::round(value / step) * step; }

TEST(ThermocoupleTables, EveryPrintedVoltageIsMet) {
  std::size_t checked = 0;
  std::size_t mismatches = 0;
  std::map<char, int> of_type;
  for (const auto& row : rows("thermocouple_tables.csv")) {
    const auto emf = thermocouple_emf(type_of(row), Celsius{row.number("t_degC")});
    ASSERT_TRUE(emf.has_value()) << emf.error().text();
    mismatches += std::abs(printed(emf->value, 0.001) - row.number("emf_mV_printed")) > 1e-9 ? 1 : 0;
    ++checked;
    ++of_type[row.text("type").at(0)];
  }
  EXPECT_EQ(mismatches, 0u);
  EXPECT_EQ(checked, 12026u);
  EXPECT_EQ(of_type.size(), 8u);
}

TEST(ThermocoupleTables, EveryPrintedVoltageGivesItsTemperatureBack) {
  std::size_t checked = 0;
  for (const auto& row : rows("thermocouple_tables.csv")) {
    const auto type = type_of(row);
    const Celsius t{row.number("t_degC")};
    if (t < thermocouple_range(type).inverse_low) continue;
    const auto back = thermocouple_temperature(type, Millivolts{row.number("emf_mV_printed")});
    ASSERT_TRUE(back.has_value()) << back.error().text();
    // Half a printed digit is all that the table leaves open; it is weighed with the volts, for near -270 degC a microvolt is many kelvins.
    ASSERT_LE(std::abs(thermocouple_emf(type, *back)->value - thermocouple_emf(type, t)->value), 0.000501) << row.text("type") << " at " << t.value;
    ++checked;
  }
  EXPECT_EQ(checked, 12026u - 250u);
}

TEST(ThermocoupleTables, TheInverseReturnsToTheTemperatureThatMadeTheVoltage) {
  for (const auto& row : rows("thermocouple_tables.csv")) {
    const auto type = type_of(row);
    const Celsius t{row.number("t_degC")};
    if (t < thermocouple_range(type).inverse_low) continue;
    const auto back = thermocouple_temperature(type, *thermocouple_emf(type, t));
    ASSERT_TRUE(back.has_value()) << back.error().text();
    ASSERT_NEAR(back->value, t.value, 1e-6) << row.text("type") << " at " << t.value;
  }
}

TEST(ColdJunction, IsCompensatedInMillivoltsAndNotInKelvins) {
  for (const auto& row : rows("cold_junction.csv")) {
    const auto type = type_of(row);
    const Celsius terminals{row.number("t_ref_degC")};
    const Millivolts measured{row.number("emf_measured_mV")};
    EXPECT_NEAR(thermocouple_emf(type, terminals)->value, row.number("emf_ref_mV"), 5.1e-7);
    const auto tip = thermocouple_tip(type, measured, terminals);
    ASSERT_TRUE(tip.has_value()) << tip.error().text();
    EXPECT_NEAR(tip->value, row.number("t_hot_degC"), 1e-4 + 1e-6 / *thermocouple_sensitivity(type, *tip));
    const double added = thermocouple_temperature(type, measured)->value + terminals.value;
    EXPECT_NEAR(added, row.number("t_hot_wrong_add_degC"), 1e-3);
    EXPECT_GT(std::abs(added - tip->value), 0.5) << "the usual mistake must be told from the answer";
  }
}

TEST(PlatinumTable, IsMetBothWays) {
  std::size_t checked = 0;
  for (const auto& row : rows("platinum.csv")) {
    const Celsius t{row.number("t_degC")};
    const auto r = platinum_resistance(pt100, t);
    ASSERT_TRUE(r.has_value()) << r.error().text();
    EXPECT_NEAR(r->value, row.number("r_ohm_full"), 5.1e-7);
    if (row.has("printed_ohm")) {
      EXPECT_NEAR(printed(r->value, 0.01), row.number("printed_ohm"), 1e-9) << "at " << t.value;
      EXPECT_NEAR(platinum_temperature(pt100, Ohms{row.number("printed_ohm")})->value, t.value, 0.02);
      ++checked;
    }
    EXPECT_NEAR(platinum_resistance(pt1000, t)->value, 10.0 * r->value, 1e-9);
    EXPECT_NEAR(platinum_temperature(pt100, *r)->value, t.value, 1e-9);
    EXPECT_NEAR(platinum_temperature(pt1000, *r * 10.0)->value, t.value, 1e-9);
    EXPECT_NEAR(platinum_tolerance(PlatinumClass::aa, t).value, row.number("tol_AA"), 5.1e-5);
    EXPECT_NEAR(platinum_tolerance(PlatinumClass::a, t).value, row.number("tol_A"), 5.1e-5);
    EXPECT_NEAR(platinum_tolerance(PlatinumClass::b, t).value, row.number("tol_B"), 5.1e-5);
    EXPECT_NEAR(platinum_tolerance(PlatinumClass::c, t).value, row.number("tol_C"), 5.1e-5);
  }
  EXPECT_EQ(checked, 81u);
}

TEST(ThermistorTable, OfTheBetaEquationIsMetBothWaysAndThroughTheDivider) {
  for (const auto& row : rows("thermistor_beta.csv")) {
    const BetaThermistor part{.at_reference = Ohms{row.number("r25_ohm")}, .beta_kelvin = row.number("beta_K")};
    const Celsius t{row.number("t_degC")};
    const auto r = thermistor_resistance(part, t);
    ASSERT_TRUE(r.has_value()) << r.error().text();
    EXPECT_NEAR(r->value, row.number("r_ohm"), 5.1e-5);
    EXPECT_NEAR(thermistor_temperature(part, Ohms{row.number("r_ohm")})->value, t.value, 1e-5);
    EXPECT_NEAR(100.0 * thermistor_sensitivity(part, t), row.number("dR_over_R_per_K_percent"), 5.1e-6);
    const auto from_volts = thermistor_in_divider({}, Volts{row.number("v_out_V")});
    ASSERT_TRUE(from_volts.has_value());
    const double share = row.number("v_out_V") / 3.3;  // the printed microvolt, seen as a share of R
    EXPECT_NEAR(from_volts->value / r->value, 1.0, 5.1e-7 / 3.3 / (share * (1.0 - share)));
  }
}

TEST(ThermistorTable, OfSteinhartAndHartIsMetBothWays) {
  const SteinhartHart published{0.0011212672, 2.3534849e-4, 8.3802405e-8};
  const auto derived = solve_steinhart_hart({{{Ohms{97072.0}, Celsius{-20.0}}, {Ohms{32650.0}, Celsius{0.0}}, {Ohms{10000.0}, Celsius{25.0}}}});
  ASSERT_TRUE(derived.has_value()) << derived.error().text();
  EXPECT_NEAR(derived->a, 1.124355001556e-03, 1e-14);
  EXPECT_NEAR(derived->b, 2.348591030580e-04, 1e-15);
  EXPECT_NEAR(derived->c, 8.515006113244e-08, 1e-18);
  for (const auto& row : rows("thermistor_steinhart_hart.csv")) {
    const Ohms r{row.number("r_ohm")};
    const SteinhartHart& curve = row.text("src") == "published" ? published : *derived;
    const auto t = thermistor_temperature(curve, r);
    ASSERT_TRUE(t.has_value()) << t.error().text();
    EXPECT_NEAR(t->value, row.number("t_full_degC"), 5.1e-7);
    if (row.has("t_printed_degC")) {
      EXPECT_NEAR(t->value, row.number("t_printed_degC"), 3e-5) << "single precision";
    }
    EXPECT_NEAR(thermistor_resistance(curve, *t)->value / r.value, 1.0, 1e-10);
  }
}

TEST(WindingTable, IsMet) {
  for (const auto& row : rows("winding.csv")) {
    const auto metal = row.text("metal") == "copper" ? WindingMetal::copper : WindingMetal::aluminium;
    const WindingReading cold{Ohms{row.number("r1_ohm")}, Celsius{row.number("t1_degC")}};
    const WindingReading hot{Ohms{row.number("r2_ohm")}, Celsius{row.number("t2_degC")}};
    const double digit = row.text("rise_K").size() > 6 ? 5.1e-5 : 5.1e-3;
    EXPECT_NEAR(winding_rise(metal, cold, hot)->value, row.number("rise_K"), digit);
    EXPECT_NEAR(winding_temperature(metal, cold, hot)->value, row.number("winding_degC"), digit);
  }
}

}  // namespace
}  // namespace steadyglow::sensor
