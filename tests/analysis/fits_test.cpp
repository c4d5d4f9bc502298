#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <vector>

#include "analysis/curve_fit.hpp"
#include "analysis/moments.hpp"
#include "analysis/rank_trend.hpp"

namespace steadyglow::analysis {
namespace {

using Values = std::vector<double>;

TEST(FitLinear, RefusesColumnsThatCannotBeToldApart) {
  const Values design{1, 2, 2, 4, 3, 6, 4, 8};
  const auto fit = fit_linear(design, Values{1, 2, 3, 5});
  ASSERT_FALSE(fit.has_value());
  EXPECT_NE(fit.error().message.find("told apart"), std::string::npos);
}

TEST(FitLinear, RefusesAsManyCoefficientsAsObservations) { EXPECT_FALSE(fit_linear(Values{1, 0, 0, 1}, Values{1, 2}).has_value()); }

TEST(FitLinear, RefusesADesignOfAnotherSize) { EXPECT_FALSE(fit_linear(Values{1, 2, 3}, Values{1, 2}).has_value()); }

TEST(FitLinear, RefusesWhatIsNotFinite) { EXPECT_FALSE(fit_linear(Values{1, 1, 1}, Values{1, std::nan(""), 2}).has_value()); }

TEST(FitLinear, UomsOfTheColumnsDoNotMatter) {
  const Values y{1.0, 2.1, 2.9, 4.2, 5.0};
  Values small;
  for (int i = 0; i < 5; ++i) {
    small.push_back(1.0);
    small.push_back(1e-9 * i);
  }
  EXPECT_NEAR(fit_linear(small, y).value().parameters[1] * 1e-9, 1.01, 1e-9);
}

TEST(FitPolynomial, FindsAParabola) {
  const Values x{-2, -1, 0, 1, 2, 3};
  Values y;
  for (const double at : x) y.push_back(3.0 - 2.0 * at + 0.5 * at * at);
  const auto fit = fit_polynomial(x, y, 2).value();
  EXPECT_NEAR(fit.parameters[0], 3.0, 1e-12);
  EXPECT_NEAR(fit.parameters[1], -2.0, 1e-12);
  EXPECT_NEAR(fit.parameters[2], 0.5, 1e-12);
}

TEST(FitCurve, RefusesWhenTheIterationsRunOut) {
  const Values x{1, 2, 3, 5, 7, 10};
  const Values y{109, 149, 149, 191, 213, 224};
  const Model rise = [](double at, std::span<const double> b) { return b[0] * (1.0 - std::exp(-b[1] * at)); };
  EXPECT_FALSE(fit_curve(rise, x, y, Values{10, 10}, {.iterations_max = 1}).has_value());
}

TEST(FitCurve, RefusesAParameterThatDoesNothing) {
  const Values x{1, 2, 3, 4};
  const auto fit = fit_curve([](double at, std::span<const double> b) { return b[0] * at; }, x, Values{1.1, 2.0, 2.9, 4.2}, Values{1, 1});
  ASSERT_FALSE(fit.has_value());
  EXPECT_NE(fit.error().message.find("told apart"), std::string::npos) << fit.error().message;
}

TEST(FitCurve, RefusesAStartWhereTheModelIsNotFinite) {
  const Model root = [](double at, std::span<const double> b) { return std::sqrt(b[0]) * at; };
  EXPECT_FALSE(fit_curve(root, Values{1, 2, 3}, Values{1, 2, 3.1}, Values{-1}).has_value());
}

TEST(FitCurve, StepsOverGroundThatIsNotFinite) {
  const Model root = [](double at, std::span<const double> b) { return std::sqrt(b[0]) * at; };
  const auto fit = fit_curve(root, Values{1, 2, 3}, Values{0.1, 0.2, 0.31}, Values{100});
  ASSERT_TRUE(fit.has_value()) << fit.error().text();
  EXPECT_NEAR(std::sqrt(fit->parameters[0]), 1.43 / 14.0, 1e-9);
}

TEST(Moments, OneValueHasNone) { EXPECT_FALSE(moments(Values{1.0}).has_value()); }

TEST(Moments, AConstantHasNoMemory) {
  const auto found = moments(Values{5, 5, 5}).value();
  EXPECT_EQ(found.sd, 0.0);
  EXPECT_EQ(found.autocorrelation, 0.0);
}

TEST(RankTrend, AConstantSeriesHasNoTrend) {
  const auto test = mann_kendall(Values{5, 5, 5, 5}).value();
  EXPECT_EQ(test.s, 0);
  EXPECT_EQ(test.p, 1.0);
}

TEST(RankTrend, RefusesTwoValues) { EXPECT_FALSE(mann_kendall(Values{1, 2}).has_value()); }

TEST(RankTrend, RefusesMoreThanItsBound) { EXPECT_FALSE(mann_kendall(Values(rank_points_max + 1, 1.0)).has_value()); }

TEST(RankTrend, OneWildValueDoesNotTurnTheSlope) {
  Values x(21);
  std::iota(x.begin(), x.end(), 0.0);
  Values y = x;
  y[20] = -1e6;
  EXPECT_NEAR(theil_sen(x, y).value().slope, 1.0, 1e-12);
}

TEST(RankTrend, EqualTimesHaveNoSlope) { EXPECT_FALSE(theil_sen(Values{1, 1, 1}, Values{1, 2, 3}).has_value()); }

// Every second value high: neighbours pull the variance down. Factor by the same formula in numpy 1.24 and scipy 1.10.
TEST(RankTrend, ASeriesThatAlternatesHasLessVariance) {
  Values values;
  for (int i = 0; i < 40; ++i) values.push_back((i % 2 == 0 ? 1.0 : -1.0) + 0.013 * (i % 2) * i + 0.01 * ((i + 1) % 2) * i);
  const auto trend = mann_kendall_autocorrelated(values).value();
  ASSERT_TRUE(trend.has_value());
  EXPECT_NEAR(trend->factor, 0.03625189108883953, 1e-9);
}

// A swing between the readings: the factor would be -0.30 (numpy, scipy), and is not made to look like one.
TEST(RankTrend, ACorrectionBelowZeroIsNotUsed) {
  Values values;
  for (int i = 0; i < 40; ++i) values.push_back(std::sin(2.5 * i) + 0.02 * i);
  EXPECT_FALSE(mann_kendall_autocorrelated(values).value().has_value());
}

}  // namespace
}  // namespace steadyglow::analysis
