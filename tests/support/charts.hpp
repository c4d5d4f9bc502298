#pragma once
/// Control charts and outlier rules to compare with. The product does not use them: minutes of a warm unit are not independent.
#include <cmath>
#include <cstddef>
#include <span>

namespace steadyglow::charts {

/// Both sums of a tabular CUSUM, in the uom of the data (NIST/SEMATECH e-Handbook 6.3.2.3).
class Cusum {
 public:
  struct Options {
    double target = 0.0;
    double allowance = 0.0;  ///< k
    double decision = 0.0;   ///< h
  };
  explicit Cusum(const Options& options) : options_(options) {}
  void add(double x) {
    high_ = std::fmax(0.0, high_ + x - options_.target - options_.allowance);
    low_ = std::fmax(0.0, low_ + options_.target - options_.allowance - x);
  }
  double high() const { return high_; }
  double low() const { return low_; }
  bool signals() const { return high_ > options_.decision || low_ > options_.decision; }

 private:
  Options options_;
  double high_ = 0.0;
  double low_ = 0.0;
};

/// Exponentially weighted moving average with its steady-state limits (e-Handbook 6.3.2.4).
class Ewma {
 public:
  struct Options {
    double target = 0.0;
    double sd = 1.0;
    double weight = 0.2;  ///< lambda
    double width = 3.0;   ///< k
  };
  explicit Ewma(const Options& options) : options_(options), value_(options.target) {}
  void add(double x) { value_ = options_.weight * x + (1.0 - options_.weight) * value_; }
  double value() const { return value_; }
  double half_width() const { return options_.width * options_.sd * std::sqrt(options_.weight / (2.0 - options_.weight)); }
  bool signals() const { return std::fabs(value_ - options_.target) > half_width(); }

 private:
  Options options_;
  double value_;
};

/// Limits for single values from the mean moving range: mean +- 3 MR / 1.128 (e-Handbook 6.3.2.2).
struct Individuals {
  double mean = 0.0;
  double mean_range = 0.0;
  double low = 0.0;
  double high = 0.0;
};
inline Individuals individuals(std::span<const double> values) {
  Individuals chart;
  for (const double value : values) chart.mean += value / static_cast<double>(values.size());
  for (std::size_t i = 1; i < values.size(); ++i) chart.mean_range += std::fabs(values[i] - values[i - 1]) / static_cast<double>(values.size() - 1);
  const double width = 3.0 * chart.mean_range / 1.128;
  chart.low = chart.mean - width;
  chart.high = chart.mean + width;
  return chart;
}

/// Largest distance from the mean in standard deviations (e-Handbook 1.3.5.17.1).
inline double grubbs(std::span<const double> values) {
  double mean = 0.0;
  for (const double value : values) mean += value / static_cast<double>(values.size());
  double squares = 0.0;
  double farthest = 0.0;
  for (const double value : values) {
    squares += (value - mean) * (value - mean);
    farthest = std::fmax(farthest, std::fabs(value - mean));
  }
  return farthest / std::sqrt(squares / static_cast<double>(values.size() - 1));
}

/// What grubbs() must exceed, one-sided: (n-1)/sqrt(n) sqrt(t^2 / (n - 2 + t^2)); t is Student's quantile at 1 - alpha/n, n - 2 degrees.
inline double grubbs_critical(std::size_t n, double t) {
  const double count = static_cast<double>(n);
  return (count - 1.0) / std::sqrt(count) * std::sqrt(t * t / (count - 2.0 + t * t));
}

}  // namespace steadyglow::charts
