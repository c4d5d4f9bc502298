// Our figures for problems that another program sets: a JSON array on standard input, a JSON array of answers on standard output.
#include <cmath>
#include <functional>
#include <iostream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "analysis/curve_fit.hpp"
#include "analysis/moments.hpp"
#include "analysis/rank_trend.hpp"
#include "analysis/statistics.hpp"
#include "analysis/warm_up.hpp"
#include "reliability/bounds.hpp"
#include "reliability/soak_yield.hpp"
#include "reliability/survival.hpp"
#include "reliability/weibull.hpp"

namespace steadyglow {
namespace {

using nlohmann::json;
using Values = std::vector<double>;

Values values(const json& problem, const char* name) { return problem.at(name).get<Values>(); }

std::vector<reliability::Life> lives(const json& problem) {
  const Values hours = values(problem, "hours");
  const auto failed = problem.at("failed").get<std::vector<int>>();
  std::vector<reliability::Life> found;
  for (std::size_t i = 0; i < hours.size(); ++i) found.push_back({hours[i], failed[i] != 0});
  return found;
}

json refused(const Error& error) { return {{"refused", error.message}}; }

json told(const Result<analysis::Fit>& fit) {
  if (!fit) return refused(fit.error());
  return {{"parameters", fit->parameters}, {"errors", fit->standard_errors}, {"residual_sd", fit->residual_sd}};
}

json line(const json& problem) {
  const auto fit = analysis::fit_line(values(problem, "x"), values(problem, "y")).value();
  return {{"slope", fit.slope}, {"intercept", fit.intercept}, {"slope_se", fit.slope_se}};
}

json rise(const json& problem) {
  const analysis::Model model = [](double x, std::span<const double> b) { return b[0] - b[1] * std::exp(-x / b[2]); };
  return told(analysis::fit_curve(model, values(problem, "x"), values(problem, "y"), values(problem, "start")));
}

json warm_up(const json& problem) {
  const auto fit = analysis::fit_warm_up(problem.at("minutes").get<std::vector<std::int64_t>>(), values(problem, "y"));
  if (!fit) return {{"refused", "no forecast"}};
  return {{"end", fit->likely.end}, {"tau", fit->likely.modes[0].tau_minutes}, {"two", fit->has_two_modes}, {"residual_sd", fit->residual_sd}};
}

json moments(const json& problem) {
  const auto found = analysis::moments(values(problem, "y")).value();
  return {{"mean", found.mean}, {"sd", found.sd}, {"autocorrelation", found.autocorrelation}};
}

json trend(const json& problem) {
  const Values x = values(problem, "x");
  const Values y = values(problem, "y");
  const auto test = analysis::mann_kendall(y).value();
  const auto sen = analysis::theil_sen(x, y).value();
  const auto memory = analysis::mann_kendall_autocorrelated(y).value();
  return {{"s", test.s}, {"z", test.z}, {"p", test.p}, {"exact", test.is_exact}, {"slope", sen.slope}, {"intercept", sen.intercept},
          {"low", sen.slope_low}, {"high", sen.slope_high}, {"factor", memory ? json(memory->factor) : json()}};
}

json weibull(const json& problem) {
  const auto fit = reliability::fit_weibull(lives(problem));
  if (!fit) return refused(fit.error());
  return {{"shape", fit->shape}, {"scale", fit->scale_hours}, {"log_likelihood", fit->log_likelihood}, {"log_scale_error", fit->log_scale_error},
          {"log_shape_error", fit->log_shape_error}, {"covariance", fit->covariance}};
}

json survival(const json& problem) {
  const auto curve = reliability::kaplan_meier(lives(problem));
  if (!curve) return refused(curve.error());
  json steps = json::array();
  for (const auto& step : curve->steps)
    steps.push_back({{"hours", step.hours}, {"at_risk", step.at_risk}, {"failures", step.failures}, {"survival", step.survival}, {"error", step.standard_error},
                     {"low", step.band.low}, {"high", step.band.high}});
  return steps;
}

json bounds(const json& problem) {
  const auto failures = problem.at("failures").get<std::size_t>();
  const auto units = problem.at("units").get<std::size_t>();
  const double confidence = problem.at("confidence").get<double>();
  const reliability::Exposure exposure{.units = units, .hours = problem.at("hours").get<double>(), .failures = failures};
  const auto mtbf = reliability::mtbf_interval(exposure, confidence).value();
  const auto share = reliability::bad_share(failures, units, confidence).value();
  return {{"low", mtbf.low_hours}, {"high", mtbf.high_hours ? json(*mtbf.high_hours) : json()}, {"at_least", reliability::mtbf_at_least(exposure, confidence).value()},
          {"share_low", share.low}, {"share_high", share.high}};
}

json soak_yield(const json& problem) {
  const auto found = reliability::soak_yield(lives(problem), problem.at("from").get<double>(), problem.at("to").get<double>());
  if (!found) return refused(found.error());
  return {{"of_started", found->of_started}, {"of_running", found->of_running}, {"low", found->of_running_interval.low}, {"high", found->of_running_interval.high},
          {"by_curve", found->is_by_curve}};
}

const std::map<std::string, std::function<json(const json&)>> questions{
    {"line", line},
    {"linear", [](const json& p) { return told(analysis::fit_linear(values(p, "design"), values(p, "y"))); }},
    {"polynomial", [](const json& p) { return told(analysis::fit_polynomial(values(p, "x"), values(p, "y"), p.at("degree").get<std::size_t>())); }},
    {"rise", rise},
    {"warm_up", warm_up},
    {"moments", moments},
    {"trend", trend},
    {"t95", [](const json& p) { return json(analysis::student_t95(p.at("degrees").get<double>())); }},
    {"weibull", weibull},
    {"survival", survival},
    {"bounds", bounds},
    {"yield", soak_yield},
};

}  // namespace
}  // namespace steadyglow

int main() {
  const auto problems = nlohmann::json::parse(std::cin);
  auto answers = nlohmann::json::array();
  for (const auto& problem : problems) answers.push_back(steadyglow::questions.at(problem.at("what").get<std::string>())(problem));
  std::cout << answers.dump() << '\n';
}
