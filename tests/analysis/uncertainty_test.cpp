#include "analysis/uncertainty.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>

namespace steadyglow::analysis {
namespace {

using profile::Accuracy;
using profile::Band;

Band at_most(double high) { return {.low = std::nullopt, .high = high}; }
Band at_least(double low) { return {.low = low, .high = std::nullopt}; }

struct Statement {
  const char* source;
  double reading;
  Accuracy accuracy;
  double half_width;
  double standard;
};

constexpr Accuracy counts(double percent, double last_digits, double resolution) {
  return {.percent_of_reading = percent, .counts = last_digits, .resolution = resolution};
}

// Rows with a source are published worked examples of that statement (half-widths as printed there, all figures recomputed); the others
// are computed by hand from the formula.
constexpr std::array<Statement, 10> statements{{
    {"university tutorial on reading meters: 2.5 % + 3 digits", 32.0, counts(2.5, 3, 0.01), 0.83, 0.479200723},
    {"the same, small reading", 0.09, counts(2.5, 3, 0.01), 0.03225, 0.0186195462},
    {"maker's application note: 0.08 % + 2 digits, 1.9964 to 2.0036 V", 2.0, counts(0.08, 2, 0.001), 0.0036, 0.00207846097},
    {"technician's example: 0.7 % + 2 counts, 118.96 to 121.04 V", 120.0, counts(0.7, 2, 0.1), 1.04, 0.60044428},
    {"by hand: mains", 230.5, counts(0.5, 3, 0.1), 1.4525, 0.838601266},
    {"by hand: supply current", 0.0453, counts(1.0, 5, 0.0001), 0.000953, 0.000550214807},
    {"by hand: emitter millivolts", 26.1, counts(0.5, 2, 0.1), 0.3305, 0.190814264},
    {"by hand: zero", 0.0, counts(0.5, 2, 0.001), 0.002, 0.00115470054},
    {"by hand: negative rail", -65.2, counts(0.5, 2, 0.1), 0.526, 0.303686242},
    {"by hand: reading and range", 10.0, {.percent_of_reading = 0.0035, .percent_of_range = 0.0005, .range = 10.0}, 0.0004, 0.000230940108},
}};

TEST(MeterAccuracy, GivesTheHalfWidthsAndStandardUncertaintiesOfWorkedExamples) {
  for (const Statement& row : statements) {
    EXPECT_NEAR(accuracy_half_width(row.accuracy, row.reading), row.half_width, 1e-12) << row.source;
    EXPECT_NEAR(standard_uncertainty(row.accuracy, row.reading) / row.standard, 1.0, 1e-8) << row.source;
  }
}

TEST(MeterAccuracy, CountsTheDisplayOnlyWhereTheStatementDoesNot) {
  const Accuracy probe{.resolution = 0.1, .fixed = 1.5};
  EXPECT_NEAR(standard_uncertainty(probe, 45.0), std::sqrt(1.5 * 1.5 / 3.0 + 0.01 / 12.0), 1e-12);
}

TEST(MeterAccuracy, SeesSmallerChangesThanItCanVouchForTheValue) {
  const Accuracy meter = counts(0.5, 3, 0.1);
  EXPECT_NEAR(smallest_visible_change(meter), 0.0816, 5e-5);
  EXPECT_LT(smallest_visible_change(meter), standard_uncertainty(meter, 230.0));
  EXPECT_EQ(smallest_visible_change({.fixed = 1.5}), 0.0);
}

// JCGM 100:2008, 4.3.7 example 2 and 5.1.5 example: digital voltmeter, 1 V range, 14e-6 of reading + 2e-6 of range, mean of readings
// 0.928571 V with u = 12 uV. Printed there: u(type B) 8.7 uV, combined 15 uV, relative 16e-6. Clauses and figures from memory.
TEST(Gum, VoltmeterExampleIsMet) {
  const Accuracy voltmeter{.percent_of_reading = 14e-4, .percent_of_range = 2e-4, .range = 1.0};
  EXPECT_NEAR(accuracy_half_width(voltmeter, 0.928571), 15e-6, 0.05e-6);
  const double type_b = standard_uncertainty(voltmeter, 0.928571);
  EXPECT_NEAR(type_b, 8.7e-6, 0.05e-6);
  const auto combined = combine(std::array<Component, 2>{{{.standard_uncertainty = type_b}, {.standard_uncertainty = 12e-6}}});
  EXPECT_NEAR(combined.standard_uncertainty, 14.7986466e-6, 1e-12);
  EXPECT_NEAR(combined.standard_uncertainty / 0.928571, 16e-6, 0.1e-6);
  EXPECT_EQ(combined.degrees_of_freedom, infinitely_many);
}

// A worked calibration budget at 10 V: calibrator 4 mV rectangular, repeatability 1.2 mV, resolution 0.5 mV rectangular: published solution's
// components; the sum recomputed.
TEST(Gum, BudgetOfThreePartsIsMet) {
  const auto combined = combine(std::array<Component, 3>{{{.standard_uncertainty = standard_uncertainty({.fixed = 0.004}, 10.0)},
                                                          {.standard_uncertainty = 0.0012},
                                                          {.standard_uncertainty = standard_uncertainty({.fixed = 0.0005}, 10.0)}}});
  EXPECT_NEAR(combined.standard_uncertainty, 0.002618524, 5e-10);
  EXPECT_NEAR(expand_by(combined).half_width, 0.005237048, 1e-9);
}

// JCGM 100:2008, G.4.1 example: y = b x1 x2 x3, relative u 0.25 %, 0.57 %, 0.82 % from 10, 5 and 15 readings; printed there: 1.03 %,
// nu_eff 19.0, t95(19) = 2.09, U95 = 2.2 %. From memory.
TEST(Gum, WelchSatterthwaiteExampleIsMet) {
  const auto combined = combine(std::array<Component, 3>{{{.standard_uncertainty = 0.25, .degrees_of_freedom = 9},
                                                          {.standard_uncertainty = 0.57, .degrees_of_freedom = 4},
                                                          {.standard_uncertainty = 0.82, .degrees_of_freedom = 14}}});
  EXPECT_NEAR(combined.standard_uncertainty, 1.03, 0.005);
  EXPECT_NEAR(combined.degrees_of_freedom, 19.0, 0.05);
  // The rounded inputs give 18.998, which truncates to 18; the guide goes on with its printed 19.0.
  const auto expanded = expand({combined.standard_uncertainty, 19.0}, 0.95);
  EXPECT_NEAR(expanded.coverage_factor, 2.09, 0.005);
  EXPECT_NEAR(expanded.half_width, 2.2, 0.05);
  EXPECT_NEAR(combine_relative(std::array{0.25, 0.57, 0.82}), combined.standard_uncertainty, 1e-12);
}

// JCGM 100:2008, H.1 end-gauge calibration, lengths in nm: standard 25 (nu 18); comparison 5.8 (24), 3.9 (5), 6.7 (8); difference of
// expansion coefficients 2.9 (50); difference of temperatures 16.6 (2). Printed there: u_c 32 nm, nu_eff 16, t99(16) = 2.92, U99 = 93 nm.
// From memory.
TEST(Gum, EndGaugeExampleIsMet) {
  const auto difference = combine(std::array<Component, 3>{{{.standard_uncertainty = 5.8, .degrees_of_freedom = 24},
                                                            {.standard_uncertainty = 3.9, .degrees_of_freedom = 5},
                                                            {.standard_uncertainty = 6.7, .degrees_of_freedom = 8}}});
  EXPECT_NEAR(difference.standard_uncertainty, 9.7, 0.05);
  EXPECT_NEAR(difference.degrees_of_freedom, 25.6, 0.2);  // the guide puts the rounded 9.7 into the formula
  // The sensitivities of H.1: the coefficient of expansion acts through 0.05 m and -0.1 K, the temperature through 0.05 m and 11.5e-6/K.
  constexpr double length_nm = 50e6;
  const auto combined = combine(std::array<Component, 4>{{{.standard_uncertainty = 25.0, .degrees_of_freedom = 18},
                                                          {.standard_uncertainty = difference.standard_uncertainty, .degrees_of_freedom = difference.degrees_of_freedom},
                                                          {.standard_uncertainty = 0.58e-6, .sensitivity = length_nm * 0.1, .degrees_of_freedom = 50},
                                                          {.standard_uncertainty = 0.029, .sensitivity = length_nm * 11.5e-6, .degrees_of_freedom = 2}}});
  EXPECT_NEAR(combined.standard_uncertainty, 32.0, 0.5);
  EXPECT_NEAR(combined.degrees_of_freedom, 16.7, 0.2);
  const auto expanded = expand(combined, 0.99);
  EXPECT_NEAR(expanded.coverage_factor, 2.92, 0.005);
  EXPECT_NEAR(expanded.half_width, 93.0, 0.5);
}

// Divisors: rectangular sqrt(3) (GUM 4.3.7), normal 95 % 1.959964 and 99 % 2.575829 (tables of the normal distribution), one step of a
// display sqrt(12) (GUM F.2.2.1). Clauses from memory, figures recomputed.
TEST(Gum, DivisorsAreThoseOfTheGuide) {
  EXPECT_NEAR(standard_uncertainty({.fixed = 1.0}, 0.0), 0.577350269190, 1e-12);
  EXPECT_NEAR(standard_uncertainty({.resolution = 1.0}, 0.0), 0.288675134595, 1e-12);
  EXPECT_NEAR(expand({.standard_uncertainty = 1.0}, 0.95).coverage_factor, 1.959963984540, 1e-10);
  EXPECT_NEAR(expand({.standard_uncertainty = 1.0}, 0.99).coverage_factor, 2.575829303549, 1e-10);
}

TEST(Gum, DegreesOfFreedomAreTruncatedAndNeverRoundedUp) {
  EXPECT_EQ(expand({1.0, 19.9}).coverage_factor, expand({1.0, 19.0}).coverage_factor);
  EXPECT_EQ(expand({1.0, 0.4}).coverage_factor, expand({1.0, 1.0}).coverage_factor);
}

TEST(Gum, OneComponentKeepsItsDegreesOfFreedomInAnyUnitOfMeasure) {
  for (const double scale : {1e-120, 1.0, 1e60}) {
    const auto combined = combine(std::array<Component, 1>{{{.standard_uncertainty = scale, .degrees_of_freedom = 5}}});
    EXPECT_NEAR(combined.degrees_of_freedom, 5.0, 1e-12) << scale;
    EXPECT_EQ(expand(combined).coverage_factor, expand({1.0, 5.0}).coverage_factor);
  }
}

TEST(Gum, NoComponentsAreNoUncertainty) {
  const auto combined = combine({});
  EXPECT_EQ(combined.standard_uncertainty, 0.0);
  EXPECT_EQ(expand(combined).half_width, 0.0);
}

// B+ 0.5 %, millivolts 0.6 %, resistor 1 % make 1.3 % of a plate's dissipation (by hand).
TEST(Gum, DissipationIsKnownToItsThreeParts) { EXPECT_NEAR(combine_relative(std::array{0.5, 0.6, 1.0}), 1.27, 0.005); }

// Limit 70 degC, U = 1.2 K (k = 2): simple acceptance up to 70.0, w = U up to 68.8 (example by hand, rule ILAC-G8:09/2019 from memory).
TEST(Decision, GuardedAcceptanceKeepsItsDistance) {
  const Band limits = at_most(70.0);
  const auto guarded = [&](double value) { return judge_conformity(value, limits, 1.2, DecisionRule::guarded_acceptance); };
  EXPECT_EQ(guarded(68.8), Conformity::pass);
  EXPECT_EQ(guarded(68.81), Conformity::undecided);
  EXPECT_EQ(guarded(71.19), Conformity::undecided);
  EXPECT_EQ(guarded(71.21), Conformity::fail);
}

TEST(Decision, SimpleAcceptanceIsNeverUndecided) {
  const Band limits{.low = 300.0, .high = 460.0};
  const auto simple = [&](double value) { return judge_conformity(value, limits, 5.0, DecisionRule::simple_acceptance); };
  EXPECT_EQ(simple(460.0), Conformity::pass);
  EXPECT_EQ(simple(460.01), Conformity::fail);
  EXPECT_EQ(simple(300.0), Conformity::pass);
  EXPECT_EQ(simple(299.9), Conformity::fail);
}

TEST(Decision, ABandNarrowerThanTheMeterLetsNothingPass) {
  const Band limits{.low = 99.0, .high = 101.0};
  EXPECT_EQ(judge_conformity(100.0, limits, 1.5, DecisionRule::guarded_acceptance), Conformity::undecided);
  EXPECT_EQ(judge_conformity(100.0, limits, 1.0, DecisionRule::guarded_acceptance), Conformity::pass);
}

TEST(Decision, SaysItsRule) {
  EXPECT_EQ(statement_of(DecisionRule::simple_acceptance), "simple acceptance, guard band w = 0");
  EXPECT_EQ(statement_of(DecisionRule::guarded_acceptance), "guarded acceptance, guard band w = U");
}

// Chance to be outside for a value at the acceptance limit, guard bands of 0 to 3 u: 1 - Phi(w/u), normal tables, recomputed.
TEST(Decision, ChanceToBeWrongIsThatOfTheNormalTable) {
  constexpr std::array<std::array<double, 2>, 7> table{
      {{0.0, 0.5}, {0.5, 0.30853754}, {1.0, 0.15865525}, {1.645, 0.049984906}, {1.66, 0.048457226}, {2.0, 0.022750132}, {3.0, 0.001349898}}};
  for (const auto& [guard, chance] : table) {
    EXPECT_NEAR(chance_outside(70.0 - 0.6 * guard, at_most(70.0), 0.6), chance, 1e-8);
    EXPECT_NEAR(chance_outside(40.0 + 0.6 * guard, at_least(40.0), 0.6), chance, 1e-8);
  }
  EXPECT_EQ(chance_outside(70.1, at_most(70.0), 0.0), 1.0);
  EXPECT_EQ(chance_outside(69.9, at_most(70.0), 0.0), 0.0);
}

}  // namespace
}  // namespace steadyglow::analysis
