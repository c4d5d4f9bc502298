#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "sensor/platinum.hpp"
#include "sensor/resistors.hpp"
#include "sensor/thermistor.hpp"
#include "sensor/thermocouple.hpp"

namespace steadyglow::sensor {
namespace {

template <class T>
std::string said(const Result<T>& result) {
  return result ? "" : result.error().text();
}

TEST(Thermocouple, IsKnownByItsLetter) {
  for (const auto type : thermocouple_types) EXPECT_EQ(thermocouple_type_from(letter_of(type)), type);
  EXPECT_EQ(thermocouple_type_from('k'), ThermocoupleType::k);
  EXPECT_FALSE(thermocouple_type_from('C').has_value());
}

TEST(Thermocouple, RisesAllTheWaySoThatEachVoltageHasOneTemperature) {
  for (const auto type : thermocouple_types) {
    const auto range = thermocouple_range(type);
    for (double t = range.inverse_low.value; t <= range.high.value; t += 0.25)
      ASSERT_GT(*thermocouple_sensitivity(type, Celsius{t}), 0.0) << letter_of(type) << " at " << t;
  }
}

TEST(Thermocouple, SensitivityIsTheSlopeOfItsVoltage) {
  for (const auto type : thermocouple_types) {
    const auto range = thermocouple_range(type);
    for (double t = range.emf_low.value + 1.0; t < range.high.value - 1.0; t += 13.7) {
      const double across = thermocouple_emf(type, Celsius{t + 0.01})->value - thermocouple_emf(type, Celsius{t - 0.01})->value;
      ASSERT_NEAR(*thermocouple_sensitivity(type, Celsius{t}), across / 0.02, 2e-6) << letter_of(type) << " at " << t;
    }
  }
}

TEST(Thermocouple, OfZeroMillivoltsIsAsWarmAsItsTerminals) {
  EXPECT_NEAR(thermocouple_tip(ThermocoupleType::k, Millivolts{0.0}, Celsius{24.5})->value, 24.5, 1e-6);
  EXPECT_NEAR(thermocouple_tip(ThermocoupleType::t, Millivolts{0.0}, Celsius{-5.0})->value, -5.0, 1e-6);
}

TEST(Thermocouple, OutsideItsRangeSaysWhatToLookAt) {
  EXPECT_NE(said(thermocouple_temperature(ThermocoupleType::k, Millivolts{60.0})).find("volts instead of millivolts"), std::string::npos);
  EXPECT_NE(said(thermocouple_temperature(ThermocoupleType::s, Millivolts{-1.0})).find("wires swapped"), std::string::npos);
  EXPECT_NE(said(thermocouple_temperature(ThermocoupleType::b, Millivolts{0.0})).find("use K, T, J or N"), std::string::npos);
  EXPECT_NE(said(thermocouple_emf(ThermocoupleType::t, Celsius{400.1})).find("from -270 to 400 degC"), std::string::npos);
  EXPECT_NE(said(thermocouple_tip(ThermocoupleType::k, Millivolts{1.0}, Celsius{-300.0})).find("terminals"), std::string::npos);
}

TEST(Thermocouple, RefusesWhatIsNoNumber) {
  const double none = std::numeric_limits<double>::quiet_NaN();
  EXPECT_FALSE(thermocouple_temperature(ThermocoupleType::k, Millivolts{none}).has_value());
  EXPECT_FALSE(thermocouple_emf(ThermocoupleType::k, Celsius{none}).has_value());
}

TEST(Platinum, OutsideItsRangeSaysWhatToLookAt) {
  EXPECT_NE(said(platinum_temperature(pt100, Ohms{1100.0})).find("Pt1000 entered as a Pt100"), std::string::npos);
  EXPECT_NE(said(platinum_temperature(pt1000, Ohms{110.0})).find("Pt100 entered as a Pt1000"), std::string::npos);
  EXPECT_FALSE(platinum_resistance(pt100, Celsius{851.0}).has_value());
  EXPECT_FALSE(platinum_temperature(pt100, Ohms{std::numeric_limits<double>::quiet_NaN()}).has_value());
}

TEST(Platinum, JoinsItsTwoFormulasAtZero) {
  EXPECT_NEAR(platinum_temperature(pt100, Ohms{100.0})->value, 0.0, 1e-12);
  EXPECT_NEAR(platinum_temperature(pt100, Ohms{100.0 - 1e-9})->value, 0.0, 1e-8);
}

TEST(Thermistor, ShortedOrOpenIsAnErrorAndNoTemperature) {
  EXPECT_FALSE(thermistor_temperature(BetaThermistor{}, Ohms{0.0}).has_value());
  EXPECT_FALSE(thermistor_temperature(BetaThermistor{}, Ohms{1.0}).has_value());
  EXPECT_NE(said(thermistor_temperature(BetaThermistor{}, Ohms{1e8})).find("open or shorted"), std::string::npos);
  EXPECT_FALSE(thermistor_in_divider({}, Volts{3.3}).has_value());
  EXPECT_FALSE(thermistor_in_divider({}, Volts{0.0}).has_value());
}

TEST(Thermistor, OnTheHighSideIsTheOtherShare) {
  const auto low = thermistor_in_divider({.supply = Volts{5.0}, .other = Ohms{10000.0}}, Volts{1.25});
  const auto high = thermistor_in_divider({.supply = Volts{5.0}, .other = Ohms{10000.0}, .is_thermistor_low_side = false}, Volts{3.75});
  EXPECT_NEAR(low->value, 10000.0 / 3.0, 1e-9);
  EXPECT_NEAR(high->value, low->value, 1e-9);
}

TEST(Thermistor, RefusesThreePointsThatNoneCanHave) {
  const ThermistorPoint cold{Ohms{32650.0}, Celsius{0.0}};
  const ThermistorPoint mild{Ohms{10000.0}, Celsius{25.0}};
  EXPECT_FALSE(solve_steinhart_hart({{cold, mild, mild}}).has_value());
  EXPECT_NE(said(solve_steinhart_hart({{cold, mild, {Ohms{40000.0}, Celsius{70.0}}}})).find("resistance falling"), std::string::npos);
}

// Four times 1 Mohm over 33.2 kohm: divides by 121.5, 600 V give 4.94 V; into an input of 100 kohm only 3.72 V (by hand).
TEST(Divider, ReadsLowWhenTheMeterLoadsIt) {
  const double alone = std::numeric_limits<double>::infinity();
  const Divider unloaded{Ohms{4e6}, Ohms{33200.0}, Ohms{alone}};
  const Divider loaded{Ohms{4e6}, Ohms{33200.0}, Ohms{100e3}};
  EXPECT_NEAR(*divider_factor(unloaded), 121.5, 0.05);
  EXPECT_NEAR(divider_output(unloaded, Volts{600.0})->value, 4.94, 0.005);
  EXPECT_NEAR(divider_output(loaded, Volts{600.0})->value, 3.72, 0.005);
  EXPECT_NEAR(divider_input(loaded, *divider_output(loaded, Volts{600.0}))->value, 600.0, 1e-9);
}

// 250 mV over 10 ohm are 25 mA; 10 mV over 0.22 ohm 45 mA (by hand).
TEST(Shunt, GivesTheCurrentOfTheResistorThatWasMeasured) {
  EXPECT_NEAR(shunt_current(Volts{0.250}, Ohms{10.0})->value, 0.025, 1e-12);
  EXPECT_NEAR(shunt_current(Volts{0.010}, Ohms{0.22})->value, 0.0455, 5e-5);
  EXPECT_NEAR(shunt_current(Volts{0.250}, Ohms{10.4})->value, 0.02404, 5e-6);
  EXPECT_NE(said(shunt_current(Volts{0.1}, Ohms{0.0})).find("measure it in place"), std::string::npos);
}

TEST(Winding, OfUnchangedResistanceFollowsTheRoomTheOtherWay) {
  const WindingReading cold{Ohms{5.0}, Celsius{22.0}};
  EXPECT_NEAR(winding_rise(WindingMetal::copper, cold, {Ohms{5.0}, Celsius{24.0}})->value, -2.0, 1e-12);
  EXPECT_NEAR(winding_temperature(WindingMetal::copper, cold, {Ohms{5.0}, Celsius{24.0}})->value, 22.0, 1e-12);
  EXPECT_FALSE(winding_rise(WindingMetal::copper, {Ohms{0.0}, Celsius{22.0}}, cold).has_value());
}

}  // namespace
}  // namespace steadyglow::sensor
