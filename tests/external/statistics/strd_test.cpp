// NIST Statistical Reference Datasets: certified values, 11 to 15 digits each. LRE below: digits that agree.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <numeric>

#include "analysis/curve_fit.hpp"
#include "analysis/moments.hpp"
#include "analysis/statistics.hpp"
#include "analysis/warm_up.hpp"
#include "published.hpp"

namespace steadyglow::analysis {
namespace {

using reference::digits;
using reference::numbers;
using reference::of_dataset;
using reference::published;
using reference::worst_digits;

using B = std::span<const double>;

struct Case {
  const char* dataset;
  Model model;
  double digits_far;   ///< at least so many digits of every parameter from start 1; 0: it must refuse
  double digits_near;  ///< from start 2
  double digits_errors;  ///< of every standard error (Lanczos1 has residuals of 1e-13: rounding)
};

void PrintTo(const Case& one, std::ostream* out) { *out << one.dataset; }

class StrdCurve : public testing::TestWithParam<Case> {
 protected:
  Result<Fit> from(const std::string& start) const {
    const auto data = of_dataset("strd_nonlinear_data.csv", GetParam().dataset);
    const auto certified = of_dataset("strd_nonlinear_certified.csv", GetParam().dataset);
    return fit_curve(GetParam().model, numbers(data, "x"), numbers(data, "y"), numbers(certified, start));
  }
  void check(const std::string& start, double digits_min) const {
    const auto certified = of_dataset("strd_nonlinear_certified.csv", GetParam().dataset);
    const auto fit = from(start);
    if (digits_min == 0.0) {
      ASSERT_FALSE(fit.has_value()) << "an answer from where none was expected: check it, then expect it";
      std::printf("%-9s %s: refused, %s\n", GetParam().dataset, start.c_str(), fit.error().message.c_str());
      return;
    }
    ASSERT_TRUE(fit.has_value()) << fit.error().text();
    const auto rest = of_dataset("strd_nonlinear_residuals.csv", GetParam().dataset).at(0);
    const double parameters = worst_digits(fit->parameters, numbers(certified, "certified"));
    const double errors = worst_digits(fit->standard_errors, numbers(certified, "certified_sd"));
    const double squares = digits(fit->sum_of_squares, rest.number("sum_of_squares"));
    std::printf("%-9s %s: LRE parameters %.1f, standard errors %.1f, sum of squares %.1f\n", GetParam().dataset, start.c_str(), parameters, errors, squares);
    EXPECT_GE(parameters, digits_min);
    EXPECT_GE(errors, GetParam().digits_errors);
    EXPECT_EQ(fit->degrees_of_freedom, static_cast<std::size_t>(rest.number("degrees_of_freedom")));
  }
};

TEST_P(StrdCurve, FarStartIsAnsweredRightOrRefused) { check("start1", GetParam().digits_far); }
TEST_P(StrdCurve, NearStartFindsTheCertifiedValues) { check("start2", GetParam().digits_near); }

double lanczos(double x, B b) { return b[0] * std::exp(-b[1] * x) + b[2] * std::exp(-b[3] * x) + b[4] * std::exp(-b[5] * x); }
double rise(double x, B b) { return b[0] * (1.0 - std::exp(-b[1] * x)); }
double chwirut(double x, B b) { return std::exp(-b[0] * x) / (b[1] + b[2] * x); }

INSTANTIATE_TEST_SUITE_P(Nist, StrdCurve,
                         testing::Values(Case{"Misra1a", rise, 9, 9, 9}, Case{"BoxBOD", rise, 9, 9, 9}, Case{"Chwirut1", chwirut, 9, 9, 9},
                                         Case{"Chwirut2", chwirut, 9, 9, 9}, Case{"Lanczos1", lanczos, 9, 9, 2}, Case{"Lanczos3", lanczos, 8, 8, 8},
                                         // From its far start the plateau of this model leads nowhere: no answer, rather than a wrong one.
                                         Case{"MGH10", [](double x, B b) { return b[0] * std::exp(b[1] / (x + b[2])); }, 0, 9, 7},
                                         Case{"MGH17", [](double x, B b) { return b[0] + b[1] * std::exp(-x * b[3]) + b[2] * std::exp(-x * b[4]); }, 9, 9, 9},
                                         Case{"DanWood", [](double x, B b) { return b[0] * std::pow(x, b[1]); }, 9, 9, 9}),
                         [](const testing::TestParamInfo<Case>& one) { return std::string(one.param.dataset); });

// MGH17 is a warm-up in all but name: y = b1 + b2 exp(-b4 x) + b3 exp(-b5 x), two modes against each other.
TEST(StrdWarmUp, TwoModesOfMgh17) {
  const auto data = of_dataset("strd_nonlinear_data.csv", "MGH17");
  std::vector<std::int64_t> minutes;
  for (const auto& row : data) minutes.push_back(std::lround(row.number("x")));
  const auto warm_up = fit_warm_up(minutes, numbers(data, "y"));
  ASSERT_TRUE(warm_up.has_value());
  ASSERT_TRUE(warm_up->has_two_modes);
  const auto certified = of_dataset("strd_nonlinear_certified.csv", "MGH17");
  const double last = static_cast<double>(minutes.back() - minutes.front());
  const WarmUpCurve& likely = warm_up->likely;
  const std::vector<double> ours{likely.end, likely.modes[0].left * std::exp(last / likely.modes[0].tau_minutes),
                                 likely.modes[1].left * std::exp(last / likely.modes[1].tau_minutes), 1.0 / likely.modes[0].tau_minutes,
                                 1.0 / likely.modes[1].tau_minutes};
  const double parameters = worst_digits(ours, numbers(certified, "certified"));
  std::printf("MGH17 as a warm-up: LRE parameters %.1f, sd of the end %.1f\n", parameters, digits(warm_up->end_sd, certified[0].number("certified_sd")));
  EXPECT_GE(parameters, 5.0);
  EXPECT_GE(digits(warm_up->residual_sd, of_dataset("strd_nonlinear_residuals.csv", "MGH17")[0].number("residual_sd")), 5.0);
}

TEST(StrdLine, NorrisToTwelveDigits) {
  const auto data = published("strd_norris.csv");
  const auto certified = of_dataset("strd_linear_certified.csv", "Norris");
  const auto x = numbers(data, "x");
  const auto y = numbers(data, "y");
  const auto fit = fit_polynomial(x, y, 1);
  ASSERT_TRUE(fit.has_value()) << fit.error().text();
  const double parameters = worst_digits(fit->parameters, numbers(certified, "certified"));
  const double errors = worst_digits(fit->standard_errors, numbers(certified, "certified_sd"));
  std::printf("Norris: LRE parameters %.1f, standard errors %.1f\n", parameters, errors);
  EXPECT_GE(parameters, 12.0);
  EXPECT_GE(errors, 12.0);
  EXPECT_GE(digits(fit->residual_sd, 0.884796396144373), 12.0);  // the same file
}

TEST(StrdLine, TheDetectorsLineIsTheSame) {
  const auto data = published("strd_norris.csv");
  const auto line = fit_line(numbers(data, "x"), numbers(data, "y")).value();
  EXPECT_GE(digits(line.slope, 1.00211681802045), 12.0);
  EXPECT_GE(digits(line.intercept, -0.262323073774029), 11.0);
  EXPECT_GE(digits(line.slope_se, 0.000429796848199937), 12.0);
}

TEST(StrdLine, LongleyDespiteItsColumns) {
  const auto data = published("strd_longley.csv");
  const auto certified = of_dataset("strd_linear_certified.csv", "Longley");
  std::vector<double> design;
  for (const auto& row : data) {
    design.push_back(1.0);
    for (const char* column : {"x1", "x2", "x3", "x4", "x5", "x6"}) design.push_back(row.number(column));
  }
  const auto fit = fit_linear(design, numbers(data, "y"));
  ASSERT_TRUE(fit.has_value()) << fit.error().text();
  const double parameters = worst_digits(fit->parameters, numbers(certified, "certified"));
  const double errors = worst_digits(fit->standard_errors, numbers(certified, "certified_sd"));
  std::printf("Longley: LRE parameters %.1f, standard errors %.1f\n", parameters, errors);
  EXPECT_GE(parameters, 10.0);
  EXPECT_GE(errors, 10.0);
  EXPECT_GE(digits(fit->residual_sd, 304.854073561965), 10.0);  // from memory; R 4.2.2 lm() agrees
}

struct MomentsCase {
  const char* dataset;
  double digits_sd;  ///< what the rounding of the data to doubles leaves (NumAcc3 and 4: 0.1 on a level of 1e6 and 1e7)
};
void PrintTo(const MomentsCase& one, std::ostream* out) { *out << one.dataset; }
class StrdMoments : public testing::TestWithParam<MomentsCase> {};

TEST_P(StrdMoments, MeanSpreadAndMemory) {
  const auto certified = of_dataset("strd_moments_certified.csv", GetParam().dataset).at(0);
  const auto found = moments(numbers(of_dataset("strd_moments_data.csv", GetParam().dataset), "y"));
  ASSERT_TRUE(found.has_value());
  const double mean = digits(found->mean, certified.number("mean"));
  const double sd = digits(found->sd, certified.number("sd"));
  const double memory = digits(found->autocorrelation, certified.number("autocorrelation"));
  std::printf("%-8s: LRE mean %.1f, sd %.1f, autocorrelation %.1f\n", GetParam().dataset, mean, sd, memory);
  EXPECT_GE(mean, 14.0);
  EXPECT_GE(sd, GetParam().digits_sd);
  EXPECT_GE(memory, GetParam().digits_sd - 1.0);
}

INSTANTIATE_TEST_SUITE_P(Nist, StrdMoments,
                         testing::Values(MomentsCase{"Lew", 14}, MomentsCase{"Lottery", 14}, MomentsCase{"Mavro", 12}, MomentsCase{"Michelso", 13},
                                         MomentsCase{"NumAcc1", 15}, MomentsCase{"NumAcc2", 13}, MomentsCase{"NumAcc3", 9}, MomentsCase{"NumAcc4", 8}),
                         [](const testing::TestParamInfo<MomentsCase>& one) { return std::string(one.param.dataset); });

}  // namespace
}  // namespace steadyglow::analysis
