#include "analysis/uncertainty.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cassert>
#include <cmath>

namespace steadyglow::analysis {
namespace {

/// Beyond so many degrees of freedom Student's t is the normal distribution to nine digits.
constexpr double degrees_of_freedom_max = 1e9;

double in_quadrature(double a, double b) { return std::sqrt(a * a + b * b); }
double of_one_step(double resolution) { return resolution / std::sqrt(12.0); }

}  // namespace

double accuracy_half_width(const profile::Accuracy& accuracy, double reading) {
  return accuracy.percent_of_reading / 100.0 * std::fabs(reading) + accuracy.counts * accuracy.resolution +
         accuracy.percent_of_range / 100.0 * accuracy.range + accuracy.fixed;
}

double standard_uncertainty(const profile::Accuracy& accuracy, double reading) {
  const double stated = accuracy_half_width(accuracy, reading) / std::sqrt(3.0);
  return accuracy.counts > 0.0 ? stated : in_quadrature(stated, of_one_step(accuracy.resolution));
}

double smallest_visible_change(const profile::Accuracy& accuracy) {
  return 2.0 * std::sqrt(2.0) * of_one_step(accuracy.resolution);
}

Combined combine(std::span<const Component> components) {
  double variance = 0.0;
  for (const Component& part : components) variance += std::pow(part.sensitivity * part.standard_uncertainty, 2);
  Combined combined{.standard_uncertainty = std::sqrt(variance), .degrees_of_freedom = infinitely_many};
  if (!(variance > 0.0)) return combined;
  // As shares of the whole, so that neither small nor large units of measure overflow in the fourth power.
  double spent = 0.0;
  for (const Component& part : components) {
    assert(part.degrees_of_freedom > 0.0);
    const double share = std::pow(part.sensitivity * part.standard_uncertainty, 2) / variance;
    spent += share * share / part.degrees_of_freedom;
  }
  if (spent > 0.0) combined.degrees_of_freedom = 1.0 / spent;
  return combined;
}

Expanded expand(const Combined& combined, double level_of_confidence) {
  assert(level_of_confidence > 0.0 && level_of_confidence < 1.0);
  const double upper = 0.5 + 0.5 * level_of_confidence;
  if (combined.degrees_of_freedom > degrees_of_freedom_max) return expand_by(combined, boost::math::quantile(boost::math::normal(), upper));
  // Shares of a whole add up to it only within rounding: 5 must not become 4 for want of the last bit.
  constexpr double rounding = 1e-9;
  const double whole = std::max(1.0, std::floor(combined.degrees_of_freedom * (1.0 + rounding)));
  return expand_by(combined, boost::math::quantile(boost::math::students_t(whole), upper));
}

Expanded expand_by(const Combined& combined, double coverage_factor) {
  return {.coverage_factor = coverage_factor, .half_width = coverage_factor * combined.standard_uncertainty};
}

double combine_relative(std::span<const double> relative_standard_uncertainties) {
  double squares = 0.0;
  for (const double u : relative_standard_uncertainties) squares += u * u;
  return std::sqrt(squares);
}

std::string_view statement_of(DecisionRule rule) {
  return rule == DecisionRule::simple_acceptance ? "simple acceptance, guard band w = 0" : "guarded acceptance, guard band w = U";
}

Conformity judge_conformity(double value, const profile::Band& limits, double expanded_uncertainty, DecisionRule rule) {
  assert(expanded_uncertainty >= 0.0);
  const double guard = rule == DecisionRule::guarded_acceptance ? expanded_uncertainty : 0.0;
  const bool is_within = (!limits.high || value <= *limits.high - guard) && (!limits.low || value >= *limits.low + guard);
  if (is_within) return Conformity::pass;
  const bool is_beyond = (limits.high && value > *limits.high + guard) || (limits.low && value < *limits.low - guard);
  return is_beyond ? Conformity::fail : Conformity::undecided;
}

double chance_outside(double value, const profile::Band& limits, double standard_uncertainty) {
  if (!(standard_uncertainty > 0.0)) return (limits.high && value > *limits.high) || (limits.low && value < *limits.low) ? 1.0 : 0.0;
  const boost::math::normal truth(value, standard_uncertainty);
  const double above = limits.high ? boost::math::cdf(boost::math::complement(truth, *limits.high)) : 0.0;
  const double below = limits.low ? boost::math::cdf(truth, *limits.low) : 0.0;
  return above + below;
}

}  // namespace steadyglow::analysis
