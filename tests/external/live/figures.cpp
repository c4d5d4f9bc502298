/// Reads {"x": [...], "y": [...], "lives": [[hours, failed], ...]} and prints what our own functions make of it, as JSON.
#include <cmath>
#include <iostream>
#include <nlohmann/json.hpp>
#include <vector>

#include "analysis/curve_fit.hpp"
#include "analysis/rank_trend.hpp"
#include "analysis/statistics.hpp"
#include "reliability/bounds.hpp"
#include "reliability/survival.hpp"
#include "reliability/weibull.hpp"

int main() {
  using namespace steadyglow;
  using Json = nlohmann::json;
  const Json in = Json::parse(std::cin);
  const auto x = in.at("x").get<std::vector<double>>();
  const auto y = in.at("y").get<std::vector<double>>();
  Json out;
  const auto line = analysis::fit_line(x, y).value();
  out["line"] = {line.intercept, line.slope, line.slope_se, line.residual_sd};
  const auto trend = analysis::mann_kendall(y).value();
  out["kendall"] = {static_cast<double>(trend.s), trend.p};
  const auto sen = analysis::theil_sen(x, y).value();
  out["sen"] = {sen.slope, sen.intercept};
  for (const double freedom : {1.0, 3.0, 10.0, 200.0}) out["student"].push_back(analysis::student_t95(freedom));
  const analysis::Model settles = [](double t, std::span<const double> p) { return p[0] - p[1] * std::exp(-t / p[2]); };
  const auto start = in.at("start").get<std::vector<double>>();
  const auto curve = analysis::fit_curve(settles, x, in.at("warming").get<std::vector<double>>(), start).value();
  out["curve"] = curve.parameters;
  out["curve_errors"] = curve.standard_errors;

  std::vector<reliability::Life> lives;
  for (const Json& one : in.at("lives")) lives.push_back({one.at(0).get<double>(), one.at(1).get<bool>()});
  const auto weibull = reliability::fit_weibull(lives).value();
  out["weibull"] = {weibull.shape, weibull.scale_hours, weibull.log_likelihood};
  const auto survival = reliability::kaplan_meier(lives).value();
  for (const auto& step : survival.steps) out["survival"].push_back({step.hours, step.survival, step.standard_error});
  const auto mtbf = reliability::mtbf_interval({lives.size(), reliability::total_hours(lives), reliability::count_failures(lives)}).value();
  out["mtbf"] = {mtbf.low_hours, mtbf.high_hours.value()};
  std::cout << out.dump() << '\n';
}
