#include "reliability/life.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numeric>
#include <string>

#include "core/decimal.hpp"

namespace steadyglow::reliability {

std::size_t count_failures(std::span<const Life> lives) {
  return static_cast<std::size_t>(std::count_if(lives.begin(), lives.end(), [](const Life& life) { return life.has_failed; }));
}

double total_hours(std::span<const Life> lives) {
  return std::accumulate(lives.begin(), lives.end(), 0.0, [](double sum, const Life& life) { return sum + life.hours; });
}

Result<void> check(std::span<const Life> lives, double confidence) {
  if (!(confidence > 0.0 && confidence < 1.0)) return fail(Fault::bad_data, "a confidence lies between 0 and 1", "0.9 and 0.95 are usual");
  if (lives.empty()) return fail(Fault::bad_data, "no unit has run yet", "finished soaks and returns make the history");
  for (std::size_t i = 0; i < lives.size(); ++i)
    if (!(lives[i].hours > 0.0) || !std::isfinite(lives[i].hours))
      return fail(Fault::bad_data, "unit " + std::to_string(i + 1) + " of the history ran " + to_decimal(lives[i].hours) + " h", "hours are above zero; a unit dead on arrival was not soaked");
  return {};
}

double normal_width(double confidence) { return boost::math::quantile(boost::math::normal{}, 0.5 + 0.5 * confidence); }

}  // namespace steadyglow::reliability
