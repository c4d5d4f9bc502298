#include "analysis/statistics.hpp"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cassert>
#include <cmath>
#include <vector>

namespace steadyglow::analysis {

double median_in_place(std::span<double> values) {
  assert(!values.empty());
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  const double below = *std::max_element(values.begin(), middle);
  return 0.5 * (below + *middle);
}

Robust robust_of(std::span<const double> values) {
  std::vector<double> work(values.begin(), values.end());
  Robust robust;
  robust.level = median_in_place(work);
  for (double& value : work) value = std::fabs(value - robust.level);
  robust.spread = mad_to_sigma * median_in_place(work);
  return robust;
}

double student_t95(double degrees_of_freedom) {
  const double dof = std::max(1.0, degrees_of_freedom);
  return boost::math::quantile(boost::math::students_t(dof), 0.975);
}

std::optional<LineFit> fit_line(std::span<const double> x, std::span<const double> y) {
  assert(x.size() == y.size());
  const std::size_t n = x.size();
  if (n < 3) return std::nullopt;
  const double count = static_cast<double>(n);
  double mean_x = 0.0;
  double mean_y = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    mean_x += x[i];
    mean_y += y[i];
  }
  mean_x /= count;
  mean_y /= count;
  double sxx = 0.0;
  double sxy = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    sxx += (x[i] - mean_x) * (x[i] - mean_x);
    sxy += (x[i] - mean_x) * (y[i] - mean_y);
  }
  if (!(sxx > 0.0)) return std::nullopt;

  LineFit fit;
  fit.count = n;
  fit.slope = sxy / sxx;
  fit.intercept = mean_y - fit.slope * mean_x;
  double squares = 0.0;
  double neighbours = 0.0;
  double before = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const double residual = (y[i] - mean_y) - fit.slope * (x[i] - mean_x);
    squares += residual * residual;
    if (i > 0) neighbours += residual * before;
    before = residual;
  }
  fit.residual_sd = std::sqrt(squares / (count - 2.0));
  fit.slope_se = fit.residual_sd / std::sqrt(sxx);
  fit.autocorrelation = squares > 0.0 ? std::clamp(neighbours / squares, -0.99, 0.99) : 0.0;
  const double rho = std::max(0.0, fit.autocorrelation);
  const double effective = std::max(3.0, count * (1.0 - rho) / (1.0 + rho));
  const double half_width = student_t95(effective - 2.0) * fit.slope_se * std::sqrt((1.0 + rho) / (1.0 - rho));
  fit.slope_low = fit.slope - half_width;
  fit.slope_high = fit.slope + half_width;
  return fit;
}

}  // namespace steadyglow::analysis
