#include "analysis/loop_gain.hpp"

#include <Eigen/QR>
#include <algorithm>
#include <array>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/tools/minima.hpp>
#include <cmath>
#include <vector>

#include "analysis/statistics.hpp"
#include "analysis/uncertainty.hpp"

namespace steadyglow::analysis {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double boltzmann = 1.380649e-23;            // J/K, exact
constexpr double elementary_charge = 1.602176634e-19;  // C, exact
constexpr double kelvin_at_zero = 273.15;

constexpr std::size_t tau_grid = 97;  // steps of 5 %
constexpr int tau_bits = 20;
constexpr double autocorrelation_most = 0.95;
/// The heatsink must have moved this many times its own minute-to-minute noise, else the noise flattens dP/dT.
constexpr double movement_over_noise_min = 10.0;
/// A supply that moves less than this says nothing of itself and only adds a column of noise.
constexpr double supply_movement_share_min = 1e-4;
/// A heatsink is no single lump, and air cools better the hotter it is: standard uncertainty of the model itself, as a share of the gain. Common
/// practice, no source.
constexpr double gain_model_share = 0.02;
/// More than this share of the heatsink's movement left over: it follows something else.
constexpr double residual_share_max = 0.2;

VectorXd vector_of(std::span<const double> values) {
  return Eigen::Map<const VectorXd>(values.data(), static_cast<Index>(values.size()));
}

double spread_of(const VectorXd& values) {
  return std::sqrt((values.array() - values.mean()).square().mean());
}

/// Noise of single minutes, from second differences: they cancel levels and slopes, and six times the variance stays.
double noise_of(std::span<const double> values) {
  std::vector<double> seconds;
  for (std::size_t i = 2; i < values.size(); ++i) seconds.push_back(values[i] - 2.0 * values[i - 1] + values[i - 2]);
  return robust_of(seconds).spread / std::sqrt(6.0);
}

struct Fit {
  VectorXd coefficients;
  VectorXd standard_errors;
  VectorXd residuals;
  double variance = 0.0;  ///< of a residual, inflated for autocorrelation
};

/// Least squares; errors inflated by sqrt((1 + r)/(1 - r)) for the lag-1 autocorrelation r > 0 of the residuals. Nothing when columns
/// cannot be told apart.
std::optional<Fit> fit(const MatrixXd& columns, const VectorXd& values) {
  const VectorXd scale = columns.colwise().norm();
  if (!(scale.minCoeff() > 0.0)) return std::nullopt;
  const MatrixXd scaled = columns * scale.cwiseInverse().asDiagonal();
  const Eigen::ColPivHouseholderQR<MatrixXd> qr(scaled);
  if (qr.rank() < columns.cols()) return std::nullopt;
  Fit result;
  result.coefficients = qr.solve(values);
  result.residuals = values - scaled * result.coefficients;
  const Index n = values.size();
  const double squares = result.residuals.squaredNorm();
  const double neighbours = result.residuals.head(n - 1).dot(result.residuals.tail(n - 1));
  const double r = squares > 0.0 ? std::clamp(neighbours / squares, 0.0, autocorrelation_most) : 0.0;
  result.variance = squares / static_cast<double>(n - columns.cols()) * (1.0 + r) / (1.0 - r);
  const MatrixXd upper = qr.matrixR().topRows(columns.cols()).triangularView<Eigen::Upper>();
  const MatrixXd inverse = upper.triangularView<Eigen::Upper>().solve(MatrixXd::Identity(columns.cols(), columns.cols()));
  const VectorXd permuted = qr.colsPermutation() * VectorXd(inverse.rowwise().norm());
  result.standard_errors = std::sqrt(result.variance) * permuted.cwiseQuotient(scale);
  result.coefficients = result.coefficients.cwiseQuotient(scale);
  return result;
}

/// Response of a first-order lag to values that run straight from minute to minute; it starts at rest at the first of them.
VectorXd lagged(const VectorXd& values, double tau) {
  const double step = 1.0 / tau;
  const double keep = std::exp(-step);
  const double newer = 1.0 - (1.0 - keep) / step;
  const double older = (1.0 - keep) / step - keep;
  VectorXd out(values.size());
  out[0] = values[0];
  for (Index i = 1; i < values.size(); ++i) out[i] = keep * out[i - 1] + older * values[i - 1] + newer * values[i];
  return out;
}

/// Columns of: rise = Rth lagged(watts) + (what the sink still has of earlier) exp(-t/tau) [+ constant].
MatrixXd sink_columns(const VectorXd& watts, double tau, HeatCounted heat) {
  const Index n = watts.size();
  MatrixXd columns(n, heat == HeatCounted::all_on_sink ? 2 : 3);
  columns.col(0) = lagged(watts, tau);
  for (Index i = 0; i < n; ++i) columns(i, 1) = std::exp(-static_cast<double>(i) / tau);
  if (heat == HeatCounted::more_than_it) columns.col(2).setOnes();
  return columns;
}

struct Sink {
  double kelvin_per_watt = 0.0;
  double standard_error = 0.0;
  double tau = 0.0;
  double residual_sd = 0.0;
};

struct Tried {
  double tau = 0.0;
  double kelvin_per_watt = 0.0;
  double squares = 0.0;
};

std::optional<Tried> try_tau(const VectorXd& watts, const VectorXd& rise, HeatCounted heat, double tau) {
  const auto tried = fit(sink_columns(watts, tau, heat), rise);
  if (!tried) return std::nullopt;
  return Tried{.tau = tau, .kelvin_per_watt = tried->coefficients[0], .squares = tried->residuals.squaredNorm()};
}

/// Half of the farthest that Rth lies from its best over every time constant that fits nearly as well: whose residual is within
/// chi^2 = 4 of the least, which is two standard errors (profile likelihood). It holds where the model is too bent for a
/// standard error at its best point.
double error_over(const std::vector<Tried>& grid, const Tried& best, double variance) {
  double widest = 0.0;
  for (const Tried& tried : grid)
    if (tried.squares <= best.squares + 4.0 * variance) widest = std::max(widest, std::fabs(tried.kelvin_per_watt - best.kelvin_per_watt));
  return 0.5 * widest;
}

std::optional<Sink> fit_sink(const VectorXd& watts, const VectorXd& rise, HeatCounted heat) {
  std::vector<Tried> grid;
  const double ratio = std::pow(sink_tau_minutes_max / sink_tau_minutes_min, 1.0 / static_cast<double>(tau_grid - 1));
  for (std::size_t i = 0; i < tau_grid; ++i)
    if (const auto tried = try_tau(watts, rise, heat, sink_tau_minutes_min * std::pow(ratio, static_cast<double>(i)))) grid.push_back(*tried);
  if (grid.empty()) return std::nullopt;
  const auto least = std::min_element(grid.begin(), grid.end(), [](const Tried& a, const Tried& b) { return a.squares < b.squares; });
  const auto left_over = [&](double tau) {
    const auto tried = try_tau(watts, rise, heat, tau);
    return tried ? tried->squares : rise.squaredNorm();
  };
  const double tau = boost::math::tools::brent_find_minima(left_over, std::max(sink_tau_minutes_min, least->tau / ratio),
                                                           std::min(sink_tau_minutes_max, least->tau * ratio), tau_bits).first;
  const auto best = try_tau(watts, rise, heat, tau);
  const MatrixXd columns = sink_columns(watts, tau, heat);
  const auto fitted = fit(columns, rise);
  if (!best || !fitted) return std::nullopt;
  // The time constant was found, not known: its column (the slope of the model along ln tau) widens the error of Rth.
  constexpr double nudge = 0.01;
  MatrixXd widened(columns.rows(), columns.cols() + 1);
  widened.leftCols(columns.cols()) = columns;
  widened.col(columns.cols()) =
      (sink_columns(watts, tau * std::exp(nudge), heat) - sink_columns(watts, tau * std::exp(-nudge), heat)) * fitted->coefficients / (2.0 * nudge);
  const auto wide = fit(widened, rise);
  if (!wide) return std::nullopt;
  return Sink{.kelvin_per_watt = best->kelvin_per_watt,
              .standard_error = std::max(wide->standard_errors[0], error_over(grid, *best, wide->variance)),
              .tau = tau,
              .residual_sd = std::sqrt(best->squares / static_cast<double>(rise.size()))};
}

struct Slope {
  double watts_per_kelvin = 0.0;
  double standard_error = 0.0;
};

/// Regresses the current (or the watts) on the sink's temperature and, where it moved, on the supply.
std::optional<Slope> fit_slope(const LoopMinutes& minutes, const VectorXd& temperature) {
  const bool by_current = !minutes.current.empty();
  const VectorXd drawn = vector_of(by_current ? minutes.current : minutes.watts);
  const VectorXd supply = vector_of(minutes.supply_volts);
  const bool has_supply = supply.size() > 0 && spread_of(supply) > supply_movement_share_min * std::fabs(supply.mean());
  MatrixXd columns(drawn.size(), has_supply ? 3 : 2);
  columns.col(0) = (temperature.array() - temperature.mean()).matrix();
  columns.col(1).setOnes();
  if (has_supply) columns.col(2) = (supply.array() - supply.mean()).matrix();
  const auto slope = fit(columns, drawn);
  if (!slope) return std::nullopt;
  const double volts = by_current ? supply.mean() : 1.0;
  return Slope{.watts_per_kelvin = slope->coefficients[0] * volts, .standard_error = slope->standard_errors[0] * std::fabs(volts)};
}

bool is_complete(const LoopMinutes& minutes) {
  const std::size_t n = minutes.rise.size();
  const auto fits = [n](std::span<const double> series) { return series.size() == n; };
  const auto fits_or_empty = [&](std::span<const double> series) { return series.empty() || fits(series); };
  const bool has_watts = fits(minutes.watts) ? minutes.current.empty() : minutes.watts.empty() && fits(minutes.current) && fits(minutes.supply_volts);
  return n >= loop_minutes_min && n <= loop_minutes_max && has_watts && fits_or_empty(minutes.supply_volts) && fits_or_empty(minutes.room);
}

VectorXd watts_of(const LoopMinutes& minutes) {
  if (!minutes.watts.empty()) return vector_of(minutes.watts);
  return vector_of(minutes.current).cwiseProduct(vector_of(minutes.supply_volts));
}

/// Change of the mean from the first half of a stretch to the second, as a share of its level.
double change_share(std::span<const double> values, double level) {
  const std::size_t half = values.size() / 2;
  const auto mean = [](std::span<const double> part) { return vector_of(part).mean(); };
  return std::fabs(mean(values.last(half)) - mean(values.first(half))) / std::fabs(level);
}

}  // namespace

Volts thermal_voltage(Celsius junction) { return {boltzmann * (junction.value + kelvin_at_zero) / elementary_charge}; }

double transconductance(const OutputStage& stage) {
  return 1.0 / (stage.emitter_resistor.value + thermal_voltage(stage.junction).value / stage.idle.value);
}

double loop_gain_by_data_sheet(const OutputStage& stage) {
  return stage.collector_emitter.value * transconductance(stage) * stage.base_volts_per_kelvin * stage.to_ambient.value * (1.0 - stage.tracking);
}

double LoopGain::chance_of_runaway() const {
  if (!(standard_uncertainty > 0.0)) return gain >= 1.0 ? 1.0 : 0.0;
  return boost::math::cdf(boost::math::complement(boost::math::normal(gain, standard_uncertainty), 1.0));
}

LoopGainFound find_loop_gain(const LoopMinutes& minutes) {
  if (!is_complete(minutes)) return {std::nullopt, WhyNotKnown::too_short};
  const VectorXd rise = vector_of(minutes.rise);
  const VectorXd temperature = minutes.room.empty() ? rise : VectorXd(rise + vector_of(minutes.room));
  const double moved = temperature.maxCoeff() - temperature.minCoeff();
  const double wanted = std::max(sink_movement_min_kelvin, movement_over_noise_min * noise_of(minutes.rise));
  if (moved < wanted) return {std::nullopt, WhyNotKnown::too_little_movement};

  const VectorXd watts = watts_of(minutes);
  const auto sink = fit_sink(watts, rise, minutes.heat);
  const auto slope = fit_slope(minutes, temperature);
  if (!sink || !slope) return {std::nullopt, WhyNotKnown::too_uncertain};
  if (sink->kelvin_per_watt <= 0.0 || sink->residual_sd > residual_share_max * spread_of(rise)) return {std::nullopt, WhyNotKnown::does_not_fit};
  const bool is_tau_inside = sink->tau > sink_tau_minutes_min * 1.01 && sink->tau < sink_tau_minutes_max / 1.01;
  if (!is_tau_inside) return {std::nullopt, WhyNotKnown::too_uncertain};

  const double gain = sink->kelvin_per_watt * slope->watts_per_kelvin;
  const std::array<Component, 3> parts{{{.standard_uncertainty = sink->standard_error, .sensitivity = slope->watts_per_kelvin},
                                        {.standard_uncertainty = slope->standard_error, .sensitivity = sink->kelvin_per_watt},
                                        {.standard_uncertainty = gain_model_share * std::fabs(gain)}}};
  const LoopGain loop{.gain = gain,
                      .standard_uncertainty = combine(parts).standard_uncertainty,
                      .kelvin_per_watt = sink->kelvin_per_watt,
                      .kelvin_per_watt_uncertainty = sink->standard_error,
                      .watts_per_kelvin = slope->watts_per_kelvin,
                      .watts_per_kelvin_uncertainty = slope->standard_error,
                      .sink_tau_minutes = sink->tau};
  if (!(loop.standard_uncertainty <= gain_uncertainty_max)) return {std::nullopt, WhyNotKnown::too_uncertain};
  return {loop, WhyNotKnown::known};
}

std::optional<ThermalResistance> thermal_resistance(std::span<const double> rise, std::span<const double> watts, double rise_uncertainty,
                                                    double watts_uncertainty) {
  constexpr std::size_t minutes_min = 5;
  if (rise.size() < minutes_min || rise.size() != watts.size()) return std::nullopt;
  const Robust kelvins = robust_of(rise);
  const Robust heat = robust_of(watts);
  if (!(kelvins.level > 0.0 && heat.level > 0.0)) return std::nullopt;
  if (change_share(rise, kelvins.level) > settled_share_max || change_share(watts, heat.level) > settled_share_max) return std::nullopt;
  ThermalResistance found{.kelvin_per_watt = kelvins.level / heat.level, .standard_uncertainty = 0.0, .rise = kelvins.level, .watts = heat.level};
  // The spread of single minutes is taken whole: neighbouring minutes of a heatsink are hardly independent.
  found.standard_uncertainty = found.kelvin_per_watt * combine_relative(std::array{kelvins.spread / kelvins.level, heat.spread / heat.level,
                                                                                   rise_uncertainty / kelvins.level, watts_uncertainty / heat.level});
  return found;
}

ThermalComparison compare_thermal(const ThermalResistance& baseline, const ThermalResistance& now) {
  ThermalComparison comparison;
  const double ratio = now.kelvin_per_watt / baseline.kelvin_per_watt;
  comparison.resistance_share = ratio - 1.0;
  comparison.resistance_share_uncertainty =
      ratio * combine_relative(std::array{now.standard_uncertainty / now.kelvin_per_watt, baseline.standard_uncertainty / baseline.kelvin_per_watt});
  comparison.watts_share = now.watts / baseline.watts - 1.0;
  const double counts_from = std::max(thermal_share_min, 2.0 * comparison.resistance_share_uncertainty);
  const bool is_up = comparison.resistance_share > counts_from;
  const bool is_hotter = comparison.watts_share > thermal_share_min;
  if (is_up) comparison.change = is_hotter ? ThermalChange::both : ThermalChange::air_path;
  else if (comparison.resistance_share < -counts_from) comparison.change = ThermalChange::better;
  else if (is_hotter) comparison.change = ThermalChange::more_heat;
  return comparison;
}

}  // namespace steadyglow::analysis
