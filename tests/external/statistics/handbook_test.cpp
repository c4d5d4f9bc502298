// Worked examples of handbooks and papers, each with its place beside it.
#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "analysis/rank_trend.hpp"
#include "analysis/statistics.hpp"
#include "published.hpp"
#include "reliability/bounds.hpp"
#include "reliability/soak_yield.hpp"
#include "reliability/survival.hpp"
#include "reliability/weibull.hpp"
#include "support/charts.hpp"

namespace steadyglow {
namespace {

using reference::numbers;
using reference::published;
using reliability::Life;

// --- charts (comparators of the detection benchmark)

TEST(Charts, CusumMeetsThePrintedColumnsAndSignalsAtGroupFourteen) {
  charts::Cusum cusum({.target = 325.0, .allowance = 0.3175, .decision = 4.1959});
  int first = 0;
  for (const auto& row : published("cusum.csv")) {
    cusum.add(row.number("x"));
    EXPECT_NEAR(cusum.high(), row.number("s_hi_printed"), 0.00501) << row.text("group");
    EXPECT_NEAR(cusum.low(), row.number("s_lo_printed"), 0.00501) << row.text("group");
    if (cusum.signals() && first == 0) first = static_cast<int>(row.number("group"));
  }
  EXPECT_EQ(first, 14);
}

TEST(Charts, EwmaMeetsThePrintedColumnAndStaysInside) {
  charts::Ewma ewma({.target = 50.0, .sd = 2.0539, .weight = 0.3, .width = 3.0});
  for (const auto& row : published("ewma.csv")) {
    ewma.add(row.number("x"));
    EXPECT_NEAR(ewma.value(), row.number("ewma_printed"), 0.00501) << row.text("i");
    EXPECT_FALSE(ewma.signals());
  }
  EXPECT_NEAR(50.0 + ewma.half_width(), 52.5884, 1e-4);
}

TEST(Charts, LimitsOfSingleValues) {
  const auto chart = charts::individuals(numbers(published("individuals.csv"), "x"));
  EXPECT_NEAR(chart.mean, 50.81, 0.005);
  EXPECT_NEAR(chart.mean_range, 1.8778, 5e-5);
  EXPECT_NEAR(chart.high, 55.8041, 5e-5);
  EXPECT_NEAR(chart.low, 45.8159, 5e-5);
}

// e-Handbook 1.3.5.17.1 (read in transcription): G 2.4687, critical 2.032 (one-sided, alpha 0.05).
// Student's t at 1 - 0.05/8, 6 degrees of freedom: 3.5212 (scipy 1.10.1).
TEST(Charts, GrubbsFindsTheUraniumOutlier) {
  const std::array values{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57};
  EXPECT_NEAR(charts::grubbs(values), 2.4687, 1e-4);
  EXPECT_NEAR(charts::grubbs_critical(8, 3.5212), 2.032, 1e-3);
}

// The same data: modified z = 0.6745 (x - median) / MAD of 29.96 (Iglewicz and Hoaglin 1993), here by our robust spread.
TEST(RobustSpread, TheUraniumOutlierIsThirtySpreadsAway) {
  const std::array values{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57};
  const auto robust = analysis::robust_of(values);
  EXPECT_NEAR(robust.level, 201.37, 1e-12);
  EXPECT_NEAR((245.57 - robust.level) / robust.spread, 29.9627, 0.001);
}

TEST(RobustSpread, HampelRuleOverSevenPoints) {
  const auto rows = published("hampel.csv");
  const auto x = numbers(rows, "x");
  for (std::size_t i = 0; i < x.size(); ++i) {
    const std::size_t from = i < 3 ? 0 : i - 3;
    const std::size_t to = std::min(x.size(), i + 4);
    const auto robust = analysis::robust_of(std::span(x).subspan(from, to - from));
    EXPECT_NEAR(robust.level, rows[i].number("median"), 1e-9) << i;
    EXPECT_NEAR(robust.spread, rows[i].number("scaled_mad"), 1e-5) << i;
    EXPECT_EQ(std::fabs(x[i] - robust.level) > 3.0 * robust.spread, rows[i].number("outlier") == 1.0) << i;
  }
}

// --- rank trends

// US EPA QA/G-9S, page 109 (read in a quotation): S 22, var S 155.33, Z 1.685, ties of four and two.
TEST(RankTrend, EnvironmentalGuideWithTies) {
  const std::array<double, 11> values{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15};
  const auto test = analysis::mann_kendall(values).value();
  EXPECT_EQ(test.s, 22);
  EXPECT_NEAR(test.variance, 155.33, 0.005);
  EXPECT_NEAR(test.z, 1.685, 5e-4);
  EXPECT_FALSE(test.is_exact);
}

// US EPA QA/G-9S, small samples (from memory): S 6, one-sided chance 0.117.
TEST(RankTrend, FiveValuesAreCountedOut) {
  const std::array<double, 5> values{5, 6, 11, 8, 10};
  const auto test = analysis::mann_kendall(values).value();
  EXPECT_EQ(test.s, 6);
  EXPECT_TRUE(test.is_exact);
  EXPECT_NEAR(0.5 * test.p, 0.117, 5e-4);
}

TEST(RankTrend, ExactChancesMeetTheTable) {
  std::size_t checked = 0;
  for (const auto& row : published("mann_kendall_exact.csv")) {
    const auto n = static_cast<std::size_t>(row.number("n"));
    const auto s = static_cast<std::int64_t>(row.number("s"));
    // A rising order with the last value moved down one place at a time loses two of S each step, then the one before it.
    std::vector<double> order(n);
    for (std::size_t i = 0; i < n; ++i) order[i] = static_cast<double>(i);
    std::int64_t now = static_cast<std::int64_t>(n * (n - 1) / 2);
    for (std::size_t pass = 0; now > s; ++pass)
      for (std::size_t i = 0; i + 1 < n - pass && now > s; ++i, now -= 2) std::swap(order[i], order[i + 1]);
    const auto test = analysis::mann_kendall(order).value();
    ASSERT_EQ(test.s, s) << n;
    EXPECT_NEAR(test.p, std::min(1.0, 2.0 * row.number("p_upper")), 1e-9) << n << ' ' << s;
    ++checked;
  }
  EXPECT_EQ(checked, 86u);
}

// Recomputed by two codes of others (scipy 1.10.1 for slope and tau; Gilbert's interval by hand).
TEST(RankTrend, NileFallsSince1871) {
  const auto flow = numbers(published("nile.csv"), "flow");
  std::vector<double> year;
  for (std::size_t i = 0; i < flow.size(); ++i) year.push_back(static_cast<double>(i));
  const auto test = analysis::mann_kendall(flow).value();
  EXPECT_EQ(test.s, -1387);
  EXPECT_NEAR(test.variance, 112728.333333, 1e-5);
  EXPECT_NEAR(test.p, 3.658262921664327e-05, 1e-15);
  const auto line = analysis::theil_sen(year, flow).value();
  EXPECT_NEAR(line.slope, -2.6, 1e-12);
  EXPECT_NEAR(line.intercept, 1022.2, 1e-9);
  EXPECT_NEAR(line.slope_low, -3.6279264778448708, 1e-9);
  EXPECT_NEAR(line.slope_high, -1.4284443759457544, 1e-9);
}

// Hamed and Rao 1998: lags 1, 2, 3, 33, 34 and 35 are significant; factor recomputed by two codes.
TEST(RankTrend, MemoryOfTheNileWidensTheVariance) {
  const auto flow = numbers(published("nile.csv"), "flow");
  const auto trend = analysis::mann_kendall_autocorrelated(flow).value().value();
  EXPECT_NEAR(trend.factor, 2.1428983270987203, 1e-9);
  EXPECT_NEAR(trend.z, -2.8199791956451388, 1e-9);
}

// --- reliability

std::vector<Life> twenty_units() {
  std::vector<Life> lives;
  for (const auto& row : published("survival_20_units.csv")) lives.push_back({row.number("time_h"), row.number("event") == 1.0});
  return lives;
}

TEST(Survival, TwentyUnitsOnTest) {
  const auto curve = reliability::kaplan_meier(twenty_units()).value();
  const auto rows = published("survival_20_units_curve.csv");
  ASSERT_EQ(curve.steps.size(), rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    EXPECT_EQ(curve.steps[i].hours, rows[i].number("time_h"));
    EXPECT_EQ(curve.steps[i].at_risk, static_cast<std::size_t>(rows[i].number("n_at_risk")));
    EXPECT_NEAR(curve.steps[i].survival, rows[i].number("survival"), 1e-9);
    EXPECT_NEAR(curve.steps[i].standard_error, rows[i].number("greenwood_se"), 1e-9);
  }
}

TEST(Survival, TiesAndHeavyCensoring) {
  const std::vector<Life> lives{{6, true},   {6, true},   {6, true},   {6, false},  {7, true},   {9, false},  {10, true},
                                {10, false}, {11, false}, {13, true},  {16, true},  {17, false}, {19, false}, {20, false},
                                {22, true},  {23, true},  {25, false}, {32, false}, {32, false}, {34, false}, {35, false}};
  const auto curve = reliability::kaplan_meier(lives).value();
  const auto rows = published("survival_ties_curve.csv");
  ASSERT_EQ(curve.steps.size(), rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    EXPECT_EQ(curve.steps[i].failures, static_cast<std::size_t>(rows[i].number("n_event")));
    EXPECT_NEAR(curve.steps[i].survival, rows[i].number("survival"), 1e-9);
    EXPECT_NEAR(curve.steps[i].standard_error, rows[i].number("greenwood_se"), 1e-9);
  }
}

// NIST/SEMATECH e-Handbook 8.4.1.3 (read in quotations): shape 1.7208, scale 606.5280, log-likelihood -75.135; standard errors of
// ln scale and ln shape recomputed with R 4.2.2, package survival 3.5-3, survreg.
TEST(WeibullFit, TenFailuresTenStillRunning) {
  std::vector<Life> lives;
  for (const double hours : {54, 187, 216, 240, 244, 335, 361, 373, 375, 386}) lives.push_back({hours, true});
  for (int i = 0; i < 10; ++i) lives.push_back({500.0, false});
  const auto fit = reliability::fit_weibull(lives).value();
  EXPECT_NEAR(fit.shape, 1.7208, 5e-5);
  EXPECT_NEAR(fit.scale_hours, 606.5280, 5e-4);
  EXPECT_NEAR(fit.log_likelihood, -75.135, 5e-4);
  EXPECT_NEAR(fit.log_scale_error, 0.205943908988, 1e-7);
  EXPECT_NEAR(fit.log_shape_error, 0.291812763149, 1e-7);
  EXPECT_FALSE(fit.is_guess);
}

// e-Handbook 8.4.5.1 (read in transcription): two failures in 800 h, 90 %: 127 h to 2251 h.
TEST(MtbfBounds, TwoFailuresInEightHundredHours) {
  const auto mtbf = reliability::mtbf_interval({.units = 10, .hours = 800.0, .failures = 2}, 0.9).value();
  EXPECT_EQ(mtbf.likely_hours, 400.0);
  EXPECT_NEAR(mtbf.low_hours, 127.069, 1e-3);
  EXPECT_NEAR(mtbf.high_hours.value(), 2251.229, 1e-3);
}

TEST(MtbfBounds, FactorsForZeroToTenFailures) {
  std::size_t checked = 0;
  for (const auto& row : published("mtbf_factors.csv")) {
    const auto failures = static_cast<std::size_t>(row.number("r"));
    const reliability::Exposure exposure{.units = 20, .hours = 1.0, .failures = failures};
    const double one_sided = reliability::mtbf_at_least(exposure, row.number("conf_one_sided")).value();
    EXPECT_NEAR(one_sided / row.number("one_sided_lower_over_T"), 1.0, 1e-8);
    const auto both = reliability::mtbf_interval(exposure, row.number("conf_two_sided")).value();
    if (failures > 0) {
      EXPECT_NEAR(both.low_hours / row.number("lower_over_T"), 1.0, 1e-8);
      EXPECT_NEAR(both.high_hours.value() / row.number("upper_over_T"), 1.0, 1e-8);
    }
    ++checked;
  }
  EXPECT_EQ(checked, 44u);
}

}  // namespace
}  // namespace steadyglow
