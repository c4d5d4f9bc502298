#pragma once
/// How far a reading can be off, and what that leaves of a verdict near a limit.
/// Source of words and formulas: JCGM 100:2008 (GUM); of the decision rules: JCGM 106:2012, ILAC-G8:09/2019 (clauses from memory).
#include <limits>
#include <optional>
#include <span>
#include <string_view>

#include "profile/profile.hpp"

namespace steadyglow::analysis {

/// Half-width of the interval that an accuracy statement promises round a reading, in uom:
/// percent_of_reading/100 |reading| + counts resolution + percent_of_range/100 range + fixed.
double accuracy_half_width(const profile::Accuracy& accuracy, double reading);

/// The statement as a standard uncertainty, in uom. Nothing is known inside the interval, so it is rectangular: a / sqrt(3)
/// (GUM 4.3.7). Where no counts are stated, the step of the display comes on top: resolution / sqrt(12) (GUM F.2.2.1).
double standard_uncertainty(const profile::Accuracy& accuracy, double reading);

/// The least change between two readings of the same meter that is more than its display, in uom, k = 2: what is off by the same amount
/// in both cancels, two roundings stay: 2 sqrt(2) resolution / sqrt(12). Drift needs this; a verdict against a limit needs
/// the whole statement. 0 when no resolution is stated.
double smallest_visible_change(const profile::Accuracy& accuracy);

inline constexpr double infinitely_many = std::numeric_limits<double>::infinity();

/// One input quantity of a budget.
struct Component {
  double standard_uncertainty = 0.0;          ///< in the unit of measure of the input
  double sensitivity = 1.0;                   ///< df/dx, in uom of the result per uom of the input
  double degrees_of_freedom = infinitely_many;  ///< n - 1 for a mean of n readings; infinite for a maker's statement
};

struct Combined {
  double standard_uncertainty = 0.0;  ///< in uom of the result
  double degrees_of_freedom = infinitely_many;
};

/// u_c^2 = sum (c_i u_i)^2 for inputs that know nothing of each other (GUM 5.1.2), and
/// nu_eff = u_c^4 / sum ((c_i u_i)^4 / nu_i) (Welch-Satterthwaite, GUM G.4.1).
Combined combine(std::span<const Component> components);

struct Expanded {
  double coverage_factor = 0.0;
  double half_width = 0.0;  ///< U = k u_c, in uom
};

/// U for a level of confidence: k is Student's t at nu_eff, truncated to a whole number (GUM G.4.1, G.6.4).
Expanded expand(const Combined& combined, double level_of_confidence = 0.95);
/// U for a stated k; 2 is the convention.
Expanded expand_by(const Combined& combined, double coverage_factor = 2.0);

/// A product or quotient y = x1 x2 / x3...: relative uncertainties take the place of absolute ones (GUM 5.1.6).
/// Returns u_c(y)/|y|.
double combine_relative(std::span<const double> relative_standard_uncertainties);

/// How a value is judged that may be off. The guard band w keeps the acceptance limit away from the tolerance limit.
enum class DecisionRule {
  simple_acceptance,   ///< w = 0: the value itself decides; at the limit every second verdict would be wrong
  guarded_acceptance,  ///< w = U: pass only if the whole interval is inside, fail only if it is outside
};
enum class Conformity { pass, fail, undecided };

/// What a record prints beside a verdict.
std::string_view statement_of(DecisionRule rule);

/// Judges a value against limits. expanded_uncertainty: U in uom, not below zero; a value at its acceptance limit passes.
/// Under guarded acceptance a value between the two guard bands is undecided: it may be on either side.
Conformity judge_conformity(double value, const profile::Band& limits, double expanded_uncertainty, DecisionRule rule);

/// Chance that the true value lies outside the limits, for a normal distribution round the value. 0 or 1 when the uncertainty is 0.
/// Source: JCGM 106:2012, 7 (from memory).
double chance_outside(double value, const profile::Band& limits, double standard_uncertainty);

}  // namespace steadyglow::analysis
