#pragma once
/// Least squares: straight and bent models, with what the data say of each parameter, or a refusal.
#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::analysis {

struct Fit {
  std::vector<double> parameters;       ///< in the uoms of the model
  std::vector<double> standard_errors;  ///< one standard deviation each; independent residuals of equal variance
  double sum_of_squares = 0.0;          ///< of the residuals
  double residual_sd = 0.0;             ///< sqrt(sum_of_squares / degrees_of_freedom)
  std::size_t degrees_of_freedom = 0;   ///< observations less parameters
};

/// y = X b by Householder QR with column pivoting on columns of unit length, refined once on its own residuals.
/// `design` holds X row by row, one row per y. Fails with Fault::bad_data when the sizes do not fit, when there are not more
/// rows than columns, when a value is not finite, or when the columns cannot be told apart.
/// Source: Golub and Van Loan, Matrix Computations, section 5.3; standard errors s sqrt((X'X)^-1_jj).
Result<Fit> fit_linear(std::span<const double> design, std::span<const double> y);

/// y = b0 + b1 x + ... + b_degree x^degree by fit_linear. Fails as it does.
Result<Fit> fit_polynomial(std::span<const double> x, std::span<const double> y, std::size_t degree);

/// The curve at one x for these parameters. It may return a value that is not finite: that step is then not taken.
using Model = std::function<double(double x, std::span<const double> parameters)>;

struct CurveOptions {
  int iterations_max = 5000;
};

/// Nonlinear least squares from `start` (Levenberg-Marquardt; derivatives by central differences of fourth order).
/// It answers only where the residuals stand at right angles to the surface of the model (relative offset of Bates and
/// Watts, Technometrics 23, 1981), within rounding of the data, and with parameters that can be told apart. Otherwise it fails with
/// Fault::bad_data and says which of these it missed: a step that became small is no proof of an answer.
/// Source: More 1978, "The Levenberg-Marquardt algorithm: implementation and theory", LNM 630; damping after Nielsen 1999,
/// IMM-REP-1999-05.
Result<Fit> fit_curve(const Model& model, std::span<const double> x, std::span<const double> y, std::span<const double> start,
                      const CurveOptions& options = {});

}  // namespace steadyglow::analysis
