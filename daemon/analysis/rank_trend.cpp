#include "analysis/rank_trend.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numeric>
#include <string>
#include <vector>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

double normal_quantile(double p) { return boost::math::quantile(boost::math::normal{}, p); }
double two_sided_normal(double z) { return std::erfc(std::fabs(z) / std::sqrt(2.0)); }
double z_of(std::int64_t s, double variance) {
  if (s == 0 || !(variance > 0.0)) return 0.0;
  return (static_cast<double>(s) - (s > 0 ? 1.0 : -1.0)) / std::sqrt(variance);
}
int sign(double value) { return (value > 0.0) - (value < 0.0); }

struct Pairs {
  std::int64_t s = 0;
  double variance = 0.0;
  bool has_ties = false;
};

Pairs count_pairs(std::span<const double> values) {
  Pairs pairs;
  for (std::size_t i = 0; i < values.size(); ++i)
    for (std::size_t j = i + 1; j < values.size(); ++j) pairs.s += sign(values[j] - values[i]);
  const double n = static_cast<double>(values.size());
  double sum = n * (n - 1.0) * (2.0 * n + 5.0);
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  for (std::size_t i = 0; i < sorted.size();) {
    std::size_t end = i;
    while (end < sorted.size() && sorted[end] == sorted[i]) ++end;
    const double t = static_cast<double>(end - i);
    sum -= t * (t - 1.0) * (2.0 * t + 5.0);
    pairs.has_ties = pairs.has_ties || end - i > 1;
    i = end;
  }
  pairs.variance = sum / 18.0;
  return pairs;
}

/// P(|S| >= |s|) without ties. A permutation's inversions are a sum of independent draws, uniform over 0..k for k = 1..n-1; that sum
/// is folded up here, every term positive.
double exact_two_sided(std::size_t n, std::int64_t s) {
  std::vector<double> chance{1.0};
  for (std::size_t k = 1; k < n; ++k) {
    std::vector<double> next(chance.size() + k, 0.0);
    for (std::size_t i = 0; i < chance.size(); ++i)
      for (std::size_t draw = 0; draw <= k; ++draw) next[i + draw] += chance[i] / static_cast<double>(k + 1);
    chance = std::move(next);
  }
  const std::int64_t pairs = static_cast<std::int64_t>(n * (n - 1) / 2);
  double p = 0.0;
  for (std::size_t inversions = 0; inversions < chance.size(); ++inversions)
    if (std::abs(pairs - 2 * static_cast<std::int64_t>(inversions)) >= std::abs(s)) p += chance[inversions];
  return std::min(p, 1.0);
}

std::optional<Error> refusal(std::span<const double> values) {
  if (values.size() < 3) return Error{Fault::bad_data, "fewer than three values have no trend", "wait for more readings", {}};
  if (values.size() > rank_points_max)
    return Error{Fault::bad_data, std::to_string(values.size()) + " values are more than " + std::to_string(rank_points_max), "take medians of longer stretches", {}};
  if (!std::all_of(values.begin(), values.end(), [](double value) { return std::isfinite(value); }))
    return Error{Fault::bad_data, "a value is not finite", "leave bad readings out", {}};
  return std::nullopt;
}

/// The value at a rank between two, counted from one and kept inside.
double at_rank(const std::vector<double>& sorted, double rank) {
  const double inside = std::clamp(rank, 1.0, static_cast<double>(sorted.size()));
  const auto below = static_cast<std::size_t>(inside);
  const double part = inside - static_cast<double>(below);
  const double low = sorted[below - 1];
  return part > 0.0 ? low + part * (sorted[below] - low) : low;
}

/// Ranks from one; equal values share their mean rank.
std::vector<double> ranks_of(std::span<const double> values) {
  std::vector<std::size_t> order(values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  std::vector<double> ranks(values.size());
  for (std::size_t i = 0; i < order.size();) {
    std::size_t end = i;
    while (end < order.size() && values[order[end]] == values[order[i]]) ++end;
    for (std::size_t k = i; k < end; ++k) ranks[order[k]] = 0.5 * static_cast<double>(i + 1 + end);
    i = end;
  }
  return ranks;
}

double hamed_rao_factor(std::span<const double> ranks) {
  const double n = static_cast<double>(ranks.size());
  const double mean = 0.5 * (n + 1.0);
  double squares = 0.0;
  for (const double rank : ranks) squares += (rank - mean) * (rank - mean);
  if (!(squares > 0.0)) return 1.0;
  const double significant = normal_quantile(0.975) / std::sqrt(n);
  double sum = 0.0;
  for (std::size_t lag = 1; lag + 2 < ranks.size(); ++lag) {
    double products = 0.0;
    for (std::size_t i = lag; i < ranks.size(); ++i) products += (ranks[i] - mean) * (ranks[i - lag] - mean);
    const double r = products / squares;
    const double left = n - static_cast<double>(lag);
    if (std::fabs(r) > significant) sum += left * (left - 1.0) * (left - 2.0) * r;
  }
  return 1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * sum;
}

}  // namespace

Result<MannKendall> mann_kendall(std::span<const double> values) {
  if (const auto error = refusal(values)) return tl::unexpected<Error>(*error);
  const Pairs pairs = count_pairs(values);
  MannKendall test;
  test.s = pairs.s;
  test.variance = pairs.variance;
  test.z = z_of(pairs.s, pairs.variance);
  test.is_exact = !pairs.has_ties && values.size() <= exact_points_max;
  test.p = test.is_exact ? exact_two_sided(values.size(), pairs.s) : two_sided_normal(test.z);
  return test;
}

Result<TheilSen> theil_sen(std::span<const double> x, std::span<const double> y, double confidence) {
  if (x.size() != y.size()) return fail(Fault::bad_data, "x and y differ in length", "give one x for each y");
  if (!(confidence > 0.0 && confidence < 1.0)) return fail(Fault::bad_data, "a confidence lies between 0 and 1", "0.95 is usual");
  for (const auto& values : {x, y})
    if (const auto error = refusal(values)) return tl::unexpected<Error>(*error);
  std::vector<double> slopes;
  slopes.reserve(x.size() * (x.size() - 1) / 2);
  for (std::size_t i = 0; i < x.size(); ++i)
    for (std::size_t j = i + 1; j < x.size(); ++j)
      if (x[i] != x[j]) slopes.push_back((y[j] - y[i]) / (x[j] - x[i]));
  if (slopes.empty()) return fail(Fault::bad_data, "all x are equal", "a slope needs at least two times");
  std::sort(slopes.begin(), slopes.end());

  TheilSen line;
  const double count = static_cast<double>(slopes.size());
  line.slope = at_rank(slopes, 0.5 * (count + 1.0));
  std::vector<double> work_x(x.begin(), x.end());
  std::vector<double> work_y(y.begin(), y.end());
  line.intercept = median_in_place(work_y) - line.slope * median_in_place(work_x);
  const double width = normal_quantile(0.5 + 0.5 * confidence) * std::sqrt(count_pairs(y).variance);
  line.slope_low = at_rank(slopes, 0.5 * (count - width));
  line.slope_high = at_rank(slopes, 0.5 * (count + width) + 1.0);
  return line;
}

Result<std::optional<AutocorrelatedTrend>> mann_kendall_autocorrelated(std::span<const double> values) {
  if (const auto error = refusal(values)) return tl::unexpected<Error>(*error);
  std::vector<double> places(values.size());
  std::iota(places.begin(), places.end(), 0.0);
  const auto line = theil_sen(places, values);
  if (!line) return tl::unexpected<Error>(line.error());
  std::vector<double> left(values.begin(), values.end());
  for (std::size_t i = 0; i < left.size(); ++i) left[i] -= line->slope * places[i];
  const Pairs pairs = count_pairs(values);
  AutocorrelatedTrend trend;
  trend.factor = hamed_rao_factor(ranks_of(left));
  if (!(trend.factor > 0.0)) return std::optional<AutocorrelatedTrend>{};
  trend.variance = trend.factor * pairs.variance;
  trend.z = z_of(pairs.s, trend.variance);
  trend.p = two_sided_normal(trend.z);
  return std::optional<AutocorrelatedTrend>{trend};
}

}  // namespace steadyglow::analysis
