#include "analysis/moments.hpp"

#include <cmath>

namespace steadyglow::analysis {

std::optional<Moments> moments(std::span<const double> values) {
  if (values.size() < 2) return std::nullopt;
  const double count = static_cast<double>(values.size());
  double rough = 0.0;
  for (const double value : values) rough += value;
  rough /= count;
  double rest = 0.0;
  for (const double value : values) rest += value - rough;

  Moments found;
  found.count = values.size();
  found.mean = rough + rest / count;
  double squares = 0.0;
  double sum = 0.0;
  double neighbours = 0.0;
  double before = 0.0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double deviation = values[i] - found.mean;
    squares += deviation * deviation;
    sum += deviation;
    if (i > 0) neighbours += deviation * before;
    before = deviation;
  }
  squares -= sum * sum / count;
  found.sd = std::sqrt(squares / (count - 1.0));
  if (squares > 0.0) found.autocorrelation = neighbours / squares;
  return found;
}

}  // namespace steadyglow::analysis
