#include "reliability/bounds.hpp"

#include <algorithm>
#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <string>

namespace steadyglow::reliability {
namespace {

bool is_share(double value) { return value > 0.0 && value < 1.0; }
double chi2(double p, std::size_t degrees) { return boost::math::quantile(boost::math::chi_squared(static_cast<double>(degrees)), p); }
double beta_quantile(double p, std::size_t a, std::size_t b) {
  return boost::math::quantile(boost::math::beta_distribution<>(static_cast<double>(a), static_cast<double>(b)), p);
}

tl::unexpected<Error> bad_confidence() { return fail(Fault::bad_data, "a confidence lies between 0 and 1", "0.9 and 0.95 are usual"); }

Result<void> check(const Exposure& exposure, double confidence) {
  if (!is_share(confidence)) return bad_confidence();
  if (exposure.units < 2) return fail(Fault::bad_data, "an MTBF is not a figure of one unit", "give the hours of all units of the kind together");
  if (!(exposure.hours > 0.0) || !std::isfinite(exposure.hours)) return fail(Fault::bad_data, "the hours are not above zero", "count powered hours");
  return {};
}

Result<void> check(std::size_t bad, std::size_t units, double confidence) {
  if (!is_share(confidence)) return bad_confidence();
  if (units == 0) return fail(Fault::bad_data, "no units have run", "a share needs at least one");
  if (bad > units) return fail(Fault::bad_data, std::to_string(bad) + " bad of " + std::to_string(units) + " units", "no more can be bad than have run");
  return {};
}

}  // namespace

Result<Mtbf> mtbf_interval(const Exposure& exposure, double confidence) {
  if (auto checked = check(exposure, confidence); !checked) return tl::unexpected<Error>(checked.error());
  const std::size_t r = exposure.failures;
  Mtbf mtbf;
  if (r == 0) {
    mtbf.low_hours = exposure.hours / -std::log1p(-confidence);
    return mtbf;
  }
  const double tail = 0.5 * (1.0 - confidence);
  mtbf.likely_hours = exposure.hours / static_cast<double>(r);
  mtbf.low_hours = 2.0 * exposure.hours / chi2(1.0 - tail, 2 * r + 2);
  mtbf.high_hours = 2.0 * exposure.hours / chi2(tail, 2 * r);
  return mtbf;
}

Result<double> mtbf_at_least(const Exposure& exposure, double confidence) {
  if (auto checked = check(exposure, confidence); !checked) return tl::unexpected<Error>(checked.error());
  return 2.0 * exposure.hours / chi2(confidence, 2 * exposure.failures + 2);
}

Result<Interval> bad_share(std::size_t bad, std::size_t units, double confidence) {
  if (auto checked = check(bad, units, confidence); !checked) return tl::unexpected<Error>(checked.error());
  const double tail = 0.5 * (1.0 - confidence);
  return Interval{bad == 0 ? 0.0 : beta_quantile(tail, bad, units - bad + 1), bad == units ? 1.0 : beta_quantile(1.0 - tail, bad + 1, units - bad)};
}

Result<double> bad_share_at_most(std::size_t bad, std::size_t units, double confidence) {
  if (auto checked = check(bad, units, confidence); !checked) return tl::unexpected<Error>(checked.error());
  if (bad == units) return 1.0;
  return beta_quantile(confidence, bad + 1, units - bad);
}

double rule_of_three(std::size_t units) { return units < 3 ? 1.0 : 3.0 / static_cast<double>(units); }

Result<std::size_t> units_to_show(double good_share, double confidence) {
  if (!is_share(confidence)) return bad_confidence();
  if (!is_share(good_share)) return fail(Fault::bad_data, "a share of good units lies between 0 and 1", "0.9 asks that nine of ten are good");
  // A whisker off, so that an exact power does not round up.
  return static_cast<std::size_t>(std::ceil(std::log1p(-confidence) / std::log(good_share) - 1e-9));
}

}  // namespace steadyglow::reliability
