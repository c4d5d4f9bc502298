#include "analysis/curve_fit.hpp"

#include <Eigen/QR>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>
#include <string>

namespace steadyglow::analysis {
namespace {

constexpr double epsilon = std::numeric_limits<double>::epsilon();
/// Columns of unit length whose QR diagonal falls below this cannot be told apart by doubles.
constexpr double rank_tolerance = 1e-12;
/// Bates and Watts suggest 1e-3 of the size of a confidence region; parameters are wanted to more digits than that.
constexpr double relative_offset_max = 1e-6;
/// A step this small against the parameter changes nothing any more.
constexpr double step_min = 1e-14;
/// What of the residuals is smaller than this share of the data is rounding.
constexpr double rounding_residual = 16.0 * epsilon;
/// First a bold search, then a careful one: the bold one can leap to where the model is flat and the parameters mean nothing.
constexpr std::array dampings{1e-3, 1e3};
constexpr double damping_min = 1e-18;
constexpr double damping_max = 1e30;
constexpr int polish_steps_max = 8;

using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;

Vector column(std::span<const double> values) { return Eigen::Map<const Vector>(values.data(), static_cast<Eigen::Index>(values.size())); }

bool is_finite(std::span<const double> values) {
  return std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); });
}

/// A matrix whose columns were brought to length one, and its QR.
struct Scaled {
  Vector lengths;
  Eigen::ColPivHouseholderQR<Matrix> qr;

  explicit Scaled(const Matrix& matrix) : lengths(matrix.colwise().norm()) {
    for (double& length : lengths)
      if (!(length > 0.0)) length = 1.0;
    qr.setThreshold(rank_tolerance);
    qr.compute(matrix * lengths.cwiseInverse().asDiagonal());
  }
  bool is_full() const { return qr.rank() == qr.cols(); }
  Vector solve(const Vector& right) const { return lengths.cwiseInverse().asDiagonal() * qr.solve(right); }
  /// sqrt of the diagonal of (X'X)^-1.
  Vector unit_errors() const {
    const Eigen::Index n = qr.cols();
    const Matrix inverse = qr.matrixR().topLeftCorner(n, n).triangularView<Eigen::Upper>().solve(Matrix::Identity(n, n));
    const Vector pivoted = inverse.rowwise().norm();
    const Vector in_order = qr.colsPermutation() * pivoted;
    return lengths.cwiseInverse().asDiagonal() * in_order;
  }
};

Fit summary(const Vector& parameters, const Scaled& scaled, double squares, std::size_t rows) {
  Fit fit;
  fit.parameters.assign(parameters.begin(), parameters.end());
  fit.degrees_of_freedom = rows - fit.parameters.size();
  fit.sum_of_squares = squares;
  fit.residual_sd = std::sqrt(squares / static_cast<double>(fit.degrees_of_freedom));
  const Vector errors = fit.residual_sd * scaled.unit_errors();
  fit.standard_errors.assign(errors.begin(), errors.end());
  return fit;
}

/// The model over all x, and how far the data are from it.
class Curve {
 public:
  Curve(const Model& model, std::span<const double> x, const Vector& y) : model_(model), x_(x), y_(y) {}

  Vector at(const Vector& b) const {
    const std::span<const double> parameters(b.data(), static_cast<std::size_t>(b.size()));
    Vector values(y_.size());
    for (std::size_t i = 0; i < x_.size(); ++i) values[static_cast<Eigen::Index>(i)] = model_(x_[i], parameters);
    return values;
  }
  /// Nothing where the model is not finite.
  std::optional<Vector> residuals(const Vector& b) const {
    Vector left = y_ - at(b);
    if (!left.allFinite()) return std::nullopt;
    return left;
  }
  /// (8 (f(h) - f(-h)) - (f(2h) - f(-2h))) / 12h: exactly zero for a parameter that does nothing; h balances the fifth derivative
  /// against rounding.
  Matrix jacobian(const Vector& b) const {
    const double step = std::pow(epsilon, 0.2);
    Matrix slopes(y_.size(), b.size());
    for (Eigen::Index j = 0; j < b.size(); ++j) {
      Vector moved = b;
      const auto beside = [&](double h) {
        moved[j] = b[j] + h;
        return at(moved);
      };
      const double h = step * std::max(std::fabs(b[j]), 1e-8);
      slopes.col(j) = (8.0 * (beside(h) - beside(-h)) - (beside(2.0 * h) - beside(-2.0 * h))) / (12.0 * h);
    }
    return slopes;
  }

 private:
  const Model& model_;
  std::span<const double> x_;
  const Vector& y_;
};

/// Where the residual points: along the surface of the model, and across it; root mean squares of either.
struct Direction {
  double along = 0.0;
  double across = 0.0;
};

Direction direction(const Scaled& scaled, const Vector& left) {
  const Vector turned = scaled.qr.householderQ().adjoint() * left;
  const Eigen::Index p = scaled.qr.cols();
  const Eigen::Index rest = left.size() - p;
  return {turned.head(p).norm() / std::sqrt(static_cast<double>(p)), turned.tail(rest).norm() / std::sqrt(static_cast<double>(rest))};
}

/// One damped step: least squares of the slopes over sqrt(damping) times each parameter's scale.
Vector damped_step(const Matrix& slopes, const Vector& scale, double damping, const Vector& left) {
  const Eigen::Index rows = slopes.rows();
  const Eigen::Index p = slopes.cols();
  Matrix tall = Matrix::Zero(rows + p, p);
  tall.topRows(rows) = slopes * scale.cwiseInverse().asDiagonal();
  tall.bottomRows(p).diagonal().setConstant(std::sqrt(damping));
  Vector right = Vector::Zero(rows + p);
  right.head(rows) = left;
  return scale.cwiseInverse().asDiagonal() * tall.householderQr().solve(right);
}

/// Parameters on their way down.
struct Place {
  Vector b;
  Vector left;  ///< residuals
  double squares = 0.0;
};

/// Walks down from a place until no step leads further or the iterations are used up. False where the model has no finite slope.
bool descend(const Curve& curve, Place& place, double damping, int iterations_max) {
  Vector scale = Vector::Zero(place.b.size());
  double growth = 2.0;
  bool has_stalled = false;
  for (int iteration = 0; iteration < iterations_max && !has_stalled; ++iteration) {
    const Matrix slopes = curve.jacobian(place.b);
    if (!slopes.allFinite()) return false;
    // A parameter keeps the largest scale it has shown, so that one whose slope fades does not run away.
    scale = scale.cwiseMax(slopes.colwise().norm().transpose());
    for (double& one : scale)
      if (!(one > 0.0)) one = 1.0;
    for (bool has_moved = false; !has_moved && !has_stalled;) {
      const Vector step = damped_step(slopes, scale, damping, place.left);
      const bool is_small = (step.array().abs() <= step_min * place.b.array().abs()).all();
      const Vector b = place.b + step;
      const auto left = curve.residuals(b);
      const double squares = left ? left->squaredNorm() : std::numeric_limits<double>::infinity();
      if (squares < place.squares) {
        const double foretold = place.squares - (place.left - slopes * step).squaredNorm();
        const double ratio = foretold > 0.0 ? (place.squares - squares) / foretold : 1.0;
        place = {b, *left, squares};
        damping = std::max(damping * std::max(1.0 / 3.0, 1.0 - std::pow(2.0 * ratio - 1.0, 3)), damping_min);
        growth = 2.0;
        has_moved = true;
        has_stalled = is_small;
      } else {
        damping *= growth;
        growth *= 2.0;
        has_stalled = is_small || damping > damping_max;
      }
    }
  }
  return true;
}

/// At the bottom the sum of squares no longer tells parameters apart that differ in the last half of their digits; how far the residual
/// lies along the surface still does.
void polish(const Curve& curve, Place& place) {
  double along = std::numeric_limits<double>::infinity();
  for (int i = 0; i < polish_steps_max; ++i) {
    const Scaled scaled(curve.jacobian(place.b));
    if (!scaled.is_full()) return;
    const Vector b = place.b + scaled.solve(place.left);
    const auto left = curve.residuals(b);
    if (!left) return;
    const Matrix slopes = curve.jacobian(b);
    if (!slopes.allFinite()) return;
    const double here = i == 0 ? direction(scaled, place.left).along : along;
    along = direction(Scaled(slopes), *left).along;
    if (!(along < here)) return;
    place = {b, *left, left->squaredNorm()};
  }
}

tl::unexpected<Error> no_fit(std::string message, std::string hint) { return fail(Fault::bad_data, std::move(message), std::move(hint)); }

Result<Fit> search(const Curve& curve, Place place, double damping, const Vector& data, int iterations_max) {
  if (!descend(curve, place, damping, iterations_max)) return no_fit("the model has no finite slope on the way", "start from other parameters");
  polish(curve, place);
  const Matrix slopes = curve.jacobian(place.b);
  const Scaled scaled(slopes);
  if (!slopes.allFinite() || !scaled.is_full()) return no_fit("the parameters cannot be told apart where the search ended", "start from other parameters, or use a simpler model");
  const Direction at = direction(scaled, place.left);
  if (at.along > std::max(relative_offset_max * at.across, rounding_residual * data.norm())) return no_fit("the search ended at no minimum", "start from other parameters");
  return summary(place.b, scaled, place.squares, static_cast<std::size_t>(data.size()));
}

}  // namespace

Result<Fit> fit_linear(std::span<const double> design, std::span<const double> y) {
  if (y.empty() || design.empty() || design.size() % y.size() != 0)
    return no_fit("the design has " + std::to_string(design.size()) + " values for " + std::to_string(y.size()) + " observations", "give one row for each observation");
  const std::size_t columns = design.size() / y.size();
  if (y.size() <= columns)
    return no_fit(std::to_string(y.size()) + " observations cannot tell " + std::to_string(columns) + " coefficients and their errors", "more observations, or fewer coefficients");
  if (!is_finite(design) || !is_finite(y)) return no_fit("a value is not finite", "leave bad readings out");

  using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
  const Matrix x = Eigen::Map<const RowMajor>(design.data(), static_cast<Eigen::Index>(y.size()), static_cast<Eigen::Index>(columns));
  const Vector right = column(y);
  const Scaled scaled(x);
  if (!scaled.is_full()) return no_fit("the columns cannot be told apart", "leave out what follows from the others");
  Vector b = scaled.solve(right);
  b += scaled.solve(right - x * b);
  return summary(b, scaled, (right - x * b).squaredNorm(), y.size());
}

Result<Fit> fit_polynomial(std::span<const double> x, std::span<const double> y, std::size_t degree) {
  if (x.size() != y.size()) return no_fit("x and y differ in length", "give one x for each y");
  std::vector<double> design;
  design.reserve(x.size() * (degree + 1));
  for (const double at : x) {
    double power = 1.0;
    for (std::size_t k = 0; k <= degree; ++k, power *= at) design.push_back(power);
  }
  return fit_linear(design, y);
}

Result<Fit> fit_curve(const Model& model, std::span<const double> x, std::span<const double> y, std::span<const double> start, const CurveOptions& options) {
  if (x.size() != y.size()) return no_fit("x and y differ in length", "give one x for each y");
  if (start.empty() || y.size() <= start.size())
    return no_fit(std::to_string(y.size()) + " observations cannot tell " + std::to_string(start.size()) + " parameters and their errors", "more observations, or a simpler model");
  if (!is_finite(x) || !is_finite(y) || !is_finite(start)) return no_fit("a value is not finite", "leave bad readings out");

  const Vector data = column(y);
  const Curve curve(model, x, data);
  const auto left = curve.residuals(column(start));
  if (!left) return no_fit("the model is not finite at the start", "start from other parameters");

  Result<Fit> answer = no_fit("no search was made", {});
  for (const double damping : dampings) {
    Place place{column(start), *left, left->squaredNorm()};
    answer = search(curve, place, damping, data, options.iterations_max);
    if (answer) break;
  }
  return answer;
}

}  // namespace steadyglow::analysis
