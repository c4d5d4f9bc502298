#include "analysis/course.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

constexpr double hours_per_block = static_cast<double>(block_minutes) / 60.0;
/// How long ago a ramp may have begun, in blocks: finely for the young, coarsely for the old.
constexpr std::array<std::int64_t, 16> ages{1, 2, 3, 4, 6, 8, 11, 15, 20, 27, 36, 48, 64, 85, 112, 150};

using Matrix = std::array<std::array<double, course_columns_max>, course_columns_max>;
using Vector = std::array<double, course_columns_max>;

/// Lower Cholesky factor in place. The prior keeps it positive definite.
void factor(Matrix& a, std::size_t n) {
  for (std::size_t j = 0; j < n; ++j) {
    for (std::size_t k = 0; k < j; ++k) a[j][j] -= a[j][k] * a[j][k];
    a[j][j] = std::sqrt(std::max(a[j][j], 1e-300));
    for (std::size_t i = j + 1; i < n; ++i) {
      for (std::size_t k = 0; k < j; ++k) a[i][j] -= a[i][k] * a[j][k];
      a[i][j] /= a[j][j];
    }
  }
}

Vector forward(const Matrix& l, Vector b, std::size_t n) {
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < i; ++k) b[i] -= l[i][k] * b[k];
    b[i] /= l[i][i];
  }
  return b;
}

Vector backward(const Matrix& l, Vector b, std::size_t n) {
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t k = i + 1; k < n; ++k) b[i] -= l[k][i] * b[k];
    b[i] /= l[i][i];
  }
  return b;
}

/// Robust variance of the change over `lag` blocks, round its own median: a steady slope is no noise.
std::optional<double> change_variance(std::span<const std::int64_t> blocks, std::span<const double> residuals, std::int64_t lag, std::vector<double>& scratch) {
  constexpr std::size_t changes_min = 6;
  scratch.clear();
  std::size_t then = 0;
  for (std::size_t now = 0; now < blocks.size(); ++now) {
    while (blocks[then] < blocks[now] - lag) ++then;
    if (blocks[then] == blocks[now] - lag) scratch.push_back(residuals[now] - residuals[then]);
  }
  if (scratch.size() < changes_min) return std::nullopt;
  const double centre = median_in_place(scratch);
  for (double& value : scratch) value = std::fabs(value - centre);
  const double sd = mad_to_sigma * median_in_place(scratch);
  return sd * sd;
}

}  // namespace

double doubt_of(const CourseFit& fit, std::span<const double> x) {
  Vector column{};
  std::copy_n(x.begin(), fit.columns, column.begin());
  column = forward(fit.factor, column, fit.columns);
  double square = 0.0;
  for (std::size_t i = 0; i < fit.columns; ++i) square += column[i] * column[i];
  return std::sqrt(square);
}

void Course::begin(std::span<const Prior> priors, CourseNoise noise, double level_minutes) {
  level_minutes_ = level_minutes;
  assert(priors.size() <= course_columns_max);
  priors_.assign(priors.begin(), priors.end());
  noise_ = noise;
  blocks_.clear();
  y_.clear();
  x_.clear();
  doubt_.clear();
}

void Course::add(std::int64_t block, double y, std::span<const double> x, double doubt_sd) {
  doubt_.push_back(doubt_sd * doubt_sd);
  blocks_.push_back(block);
  // The prior means move to the left-hand side: what is left has coefficients round zero.
  for (std::size_t i = 0; i < x.size(); ++i) y -= priors_[i].mean * x[i];
  y_.push_back(y);
  x_.insert(x_.end(), x.begin(), x.end());
}

void Course::whiten() {
  const std::size_t n = blocks_.size();
  const std::size_t p = priors_.size();
  gain_.resize(n);
  keep_.resize(n);
  scale_.resize(n);
  const double wander = noise_.wander_sd * noise_.wander_sd;
  const double white = noise_.white_sd * noise_.white_sd;
  double variance = wander;
  for (std::size_t i = 0; i < n; ++i) {
    const double passed = i == 0 ? 0.0 : static_cast<double>(blocks_[i] - blocks_[i - 1]) * hours_per_block;
    keep_[i] = i == 0 ? 0.0 : std::exp(-passed / wander_hours);
    variance = keep_[i] * keep_[i] * variance + (1.0 - keep_[i] * keep_[i]) * wander;
    const double innovation = variance + white + doubt_[i];
    gain_[i] = variance / innovation;
    scale_[i] = 1.0 / std::sqrt(innovation);
    variance *= 1.0 - gain_[i];
  }
  white_y_.resize(n);
  white_x_.resize(n * p);
  double state = 0.0;
  Vector states{};
  for (std::size_t i = 0; i < n; ++i) {
    const auto pass = [&](double value, double& at) {
      at *= keep_[i];
      const double innovation = value - at;
      at += gain_[i] * innovation;
      return innovation * scale_[i];
    };
    white_y_[i] = pass(y_[i], state);
    for (std::size_t k = 0; k < p; ++k) white_x_[i * p + k] = pass(x_[i * p + k], states[k]);
  }
}

/// A ramp that is 1 now, or a level that is approached with level_minutes.
double Course::shape_of(bool is_ramp, std::int64_t since, std::int64_t age) const {
  if (is_ramp) return static_cast<double>(since) / static_cast<double>(age);
  return level_minutes_ > 0.0 ? 1.0 - std::exp(-static_cast<double>(since * block_minutes) / level_minutes_) : 1.0;
}

std::optional<CourseFit> Course::judge() {
  constexpr std::size_t blocks_min = 3;
  const std::size_t n = blocks_.size();
  const std::size_t p = priors_.size();
  if (n < blocks_min) return std::nullopt;
  whiten();
  Matrix normal{};
  Vector xy{};
  double yy = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const double* x = &white_x_[i * p];
    for (std::size_t j = 0; j < p; ++j) {
      for (std::size_t k = 0; k <= j; ++k) normal[j][k] += x[j] * x[k];
      xy[j] += x[j] * white_y_[i];
    }
    yy += white_y_[i] * white_y_[i];
  }
  for (std::size_t j = 0; j < p; ++j) normal[j][j] += 1.0 / (priors_[j].sd * priors_[j].sd);
  factor(normal, p);
  const Vector half_y = forward(normal, xy, p);
  const Vector b = backward(normal, half_y, p);

  CourseFit fit;
  fit.factor = normal;
  fit.columns = p;
  for (std::size_t j = 0; j < p; ++j) {
    fit.coefficients[j] = priors_[j].mean + b[j];
    Vector unit{};
    unit[j] = 1.0;
    const Vector column = forward(normal, unit, p);
    double square = 0.0;
    for (std::size_t k = j; k < p; ++k) square += column[k] * column[k];
    fit.sds[j] = std::sqrt(square);
  }

  const std::int64_t last = blocks_.back();
  double best_amount = 0.0;
  bool best_is_ramp = true;
  for (const std::int64_t age : ages) {
    const std::int64_t onset = last - age;
    if (onset < blocks_.front()) break;
    const auto first = static_cast<std::size_t>(std::upper_bound(blocks_.begin(), blocks_.end(), onset) - blocks_.begin());
    for (const bool is_ramp : {true, false}) {
      // A block after its onset a level and a ramp are the same.
      if (!is_ramp && age < 2) continue;
      Vector rx{};
      double rr = 0.0;
      double ry = 0.0;
      double state = 0.0;
      for (std::size_t i = first; i < n; ++i) {
        state *= keep_[i];
        const double innovation = shape_of(is_ramp, blocks_[i] - onset, age) - state;
        state += gain_[i] * innovation;
        const double r = innovation * scale_[i];
        const double* x = &white_x_[i * p];
        for (std::size_t j = 0; j < p; ++j) rx[j] += r * x[j];
        rr += r * r;
        ry += r * white_y_[i];
      }
      const Vector half_r = forward(normal, rx, p);
      for (std::size_t j = 0; j < p; ++j) {
        rr -= half_r[j] * half_r[j];
        ry -= half_r[j] * half_y[j];
      }
      if (!(rr > 0.0)) continue;
      const double now = shape_of(is_ramp, age, age);
      const Departure departure{now * ry / rr, now / std::sqrt(rr), now * ry / rr / (static_cast<double>(age) * hours_per_block), onset};
      if (fit.departure && std::fabs(departure.z()) <= std::fabs(fit.departure->z())) continue;
      fit.departure = departure;
      best_amount = ry / rr;
      best_is_ramp = is_ramp;
      const Vector shift = backward(normal, half_r, p);
      for (std::size_t j = 0; j < p; ++j) fit.beside_departure[j] = fit.coefficients[j] - ry / rr * shift[j];
    }
  }

  // The noise is what is left once the likeliest departure is allowed for: else a fault would pass itself off as noise.
  const std::size_t old = n > noise_late_blocks ? n - noise_late_blocks : 0;
  residual_.resize(old);
  for (std::size_t i = 0; i < old; ++i) {
    residual_[i] = y_[i];
    for (std::size_t j = 0; j < p; ++j) residual_[i] -= (fit.departure ? fit.beside_departure[j] - priors_[j].mean : b[j]) * x_[i * p + j];
    if (fit.departure && blocks_[i] > fit.departure->onset) residual_[i] -= best_amount * shape_of(best_is_ramp, blocks_[i] - fit.departure->onset, last - fit.departure->onset);
  }
  const std::span<const std::int64_t> old_blocks(blocks_.data(), old);
  const auto quick = change_variance(old_blocks, residual_, 1, ramp_);
  const auto slow = change_variance(old_blocks, residual_, 6, ramp_);
  if (old > 0) {
    ramp_.assign(residual_.begin(), residual_.end());
    for (double& value : ramp_) value = std::fabs(value);
    fit.scatter = mad_to_sigma * median_in_place(ramp_);
  }
  fit.seen = noise_;
  if (quick && slow) {
    // D(l) = 2 white^2 + 2 wander^2 (1 - exp(-l)): solved for both at one block and at an hour.
    const double e1 = std::exp(-hours_per_block / wander_hours);
    const double e6 = std::exp(-6.0 * hours_per_block / wander_hours);
    const double wander = std::max(0.0, (*slow - *quick) / (2.0 * (e1 - e6)));
    const double white = std::max(0.0, 0.5 * *quick - wander * (1.0 - e1));
    fit.seen = {std::sqrt(white), std::sqrt(wander)};
  }
  return fit;
}

}  // namespace steadyglow::analysis
