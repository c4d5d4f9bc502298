#include "analysis/warm_up.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/statistics.hpp"

namespace steadyglow::analysis {
namespace {

constexpr std::size_t taus = 18;             ///< the first search looks at so many, a factor 1.4 apart
constexpr double mode_ratio_min = 1.5;       ///< two modes nearer than this are one
constexpr std::size_t two_mode_minutes_min = 20;
constexpr double evidence_min = 10.0;        ///< BIC
constexpr double wild_spreads = 5.0;
constexpr double autocorrelation_max = 0.9;
constexpr int refinements_max = 25;
/// What is left of the sum of squares below this share of its whole is rounding.
constexpr double rounding_share = 1e-20;

using Column = std::array<double, warm_up_minutes_max>;

/// The minutes fitted, both columns about their middle so that the level needs no parameter of its own.
struct Window {
  std::size_t count = 0;
  std::array<std::int64_t, warm_up_minutes_max> minutes;  ///< since the first
  Column y;
  double mean = 0.0;
  double squares = 0.0;
  double span() const { return static_cast<double>(minutes[count - 1]); }
};

/// Four sums side by side: one alone waits for each of its additions.
template <class Term>
double sum(std::size_t count, Term term) {
  std::array<double, 4> parts{};
  std::size_t i = 0;
  for (; i + 4 <= count; i += 4)
    for (std::size_t k = 0; k < 4; ++k) parts[k] += term(i + k);
  for (; i < count; ++i) parts[0] += term(i);
  return (parts[0] + parts[1]) + (parts[2] + parts[3]);
}

double dot(const Column& a, const Column& b, std::size_t count) {
  return sum(count, [&](std::size_t i) { return a[i] * b[i]; });
}

double mean(const Column& a, std::size_t count) {
  return sum(count, [&](std::size_t i) { return a[i]; }) / static_cast<double>(count);
}

void centre(Window& window) {
  const double shift = mean(window.y, window.count);
  window.mean += shift;
  for (std::size_t i = 0; i < window.count; ++i) window.y[i] -= shift;
  window.squares = dot(window.y, window.y, window.count);
}

/// A column about its mean.
struct Basis {
  Column values;
  double mean = 0.0;
  double squares = 0.0;
  double with_y = 0.0;
};

void centre(Basis& basis, const Window& window) {
  basis.mean = mean(basis.values, window.count);
  for (std::size_t i = 0; i < window.count; ++i) basis.values[i] -= basis.mean;
  basis.squares = dot(basis.values, basis.values, window.count);
  basis.with_y = dot(basis.values, window.y, window.count);
}

/// exp(-minutes since the first / tau), by powers of one minute.
void fill_decay(Basis& basis, const Window& window, double tau) {
  const double step = std::exp(-1.0 / tau);
  double value = 1.0;
  std::int64_t minute = 0;
  for (std::size_t i = 0; i < window.count; ++i) {
    if (window.minutes[i] - minute > 8) value = std::exp(-static_cast<double>(window.minutes[i]) / tau);
    else for (; minute < window.minutes[i]; ++minute) value *= step;
    minute = window.minutes[i];
    basis.values[i] = value;
  }
  centre(basis, window);
}

double left_by_one(const Window& window, const Basis& basis) {
  return basis.squares > 0.0 ? window.squares - basis.with_y * basis.with_y / basis.squares : window.squares;
}

/// The best sum over curves that bend away (1 / tau growing) or not at all.
struct Rivals {
  double straight = 0.0;
  double growing = 0.0;
};

Rivals rivals_of(const Window& window, const std::array<double, taus>& grid) {
  Basis basis;
  for (std::size_t i = 0; i < window.count; ++i) basis.values[i] = static_cast<double>(window.minutes[i]);
  centre(basis, window);
  Rivals rivals;
  rivals.straight = left_by_one(window, basis);
  rivals.growing = rivals.straight;
  for (std::size_t k = 0; k < taus; k += 2) {
    const double last = window.span();
    const double step = std::exp(1.0 / grid[k]);
    double value = std::exp(-last / grid[k]);
    std::int64_t minute = 0;
    for (std::size_t i = 0; i < window.count; ++i) {
      for (; minute < window.minutes[i]; ++minute) value *= step;
      basis.values[i] = value;
    }
    centre(basis, window);
    rivals.growing = std::min(rivals.growing, left_by_one(window, basis));
  }
  return rivals;
}

/// Amplitudes at the first minute, taus, and the sum of squares they leave.
struct Guess {
  std::size_t modes = 1;
  std::array<double, 2> amplitude{};
  std::array<double, 2> tau{1.0, 1.0};
  double squares = std::numeric_limits<double>::infinity();
};

Guess with_one(const Window& window, const Basis& basis, double tau) {
  Guess guess;
  if (!(basis.squares > 0.0)) return guess;
  guess.amplitude[0] = basis.with_y / basis.squares;
  guess.tau[0] = tau;
  guess.squares = left_by_one(window, basis);
  return guess;
}

Guess with_two(const Window& window, const Basis& slow, double slow_tau, const Basis& fast, double fast_tau) {
  Guess guess;
  guess.modes = 2;
  const double cross = dot(slow.values, fast.values, window.count);
  const double determinant = slow.squares * fast.squares - cross * cross;
  if (!(determinant > 1e-12 * slow.squares * fast.squares)) return guess;
  guess.amplitude = {(fast.squares * slow.with_y - cross * fast.with_y) / determinant, (slow.squares * fast.with_y - cross * slow.with_y) / determinant};
  guess.tau = {slow_tau, fast_tau};
  guess.squares = window.squares - guess.amplitude[0] * slow.with_y - guess.amplitude[1] * fast.with_y;
  return guess;
}

/// Normal equations of at most four parameters: amplitudes, then logarithms of the taus.
constexpr std::size_t parameters_max = 4;
struct Normal {
  std::size_t size = 0;
  double a[parameters_max][parameters_max] = {};
  double right[parameters_max] = {};

  /// Cholesky in place of a copy. False when it is not definite.
  bool solve(double damping, double (&x)[parameters_max]) const {
    double l[parameters_max][parameters_max] = {};
    for (std::size_t i = 0; i < size; ++i)
      for (std::size_t j = 0; j <= i; ++j) {
        double sum = a[i][j] + (i == j ? damping * a[i][i] : 0.0);
        for (std::size_t k = 0; k < j; ++k) sum -= l[i][k] * l[j][k];
        if (i == j && !(sum > 0.0)) return false;
        l[i][j] = i == j ? std::sqrt(sum) : sum / l[j][j];
      }
    for (std::size_t i = 0; i < size; ++i) {
      x[i] = right[i];
      for (std::size_t k = 0; k < i; ++k) x[i] -= l[i][k] * x[k];
      x[i] /= l[i][i];
    }
    for (std::size_t i = size; i-- > 0;) {
      for (std::size_t k = i + 1; k < size; ++k) x[i] -= l[k][i] * x[k];
      x[i] /= l[i][i];
    }
    return true;
  }
};

/// A guess looked at minute by minute: residuals, normal equations, means of the columns.
struct Look {
  Column residual;
  double squares = 0.0;
  Normal normal;
  double means[parameters_max] = {};
};

void look(const Window& window, const Guess& guess, Look& seen) {
  std::array<Basis, parameters_max> columns;
  const std::size_t modes = guess.modes;
  for (std::size_t m = 0; m < modes; ++m) {
    fill_decay(columns[m], window, guess.tau[m]);
    Basis& slope = columns[modes + m];
    for (std::size_t i = 0; i < window.count; ++i)
      slope.values[i] = guess.amplitude[m] * (columns[m].values[i] + columns[m].mean) * static_cast<double>(window.minutes[i]) / guess.tau[m];
    centre(slope, window);
  }
  for (std::size_t i = 0; i < window.count; ++i) {
    seen.residual[i] = window.y[i];
    for (std::size_t m = 0; m < modes; ++m) seen.residual[i] -= guess.amplitude[m] * columns[m].values[i];
  }
  seen.squares = dot(seen.residual, seen.residual, window.count);
  seen.normal.size = 2 * modes;
  for (std::size_t i = 0; i < 2 * modes; ++i) {
    seen.means[i] = columns[i].mean;
    seen.normal.right[i] = dot(columns[i].values, seen.residual, window.count);
    for (std::size_t j = 0; j <= i; ++j) seen.normal.a[i][j] = seen.normal.a[j][i] = dot(columns[i].values, columns[j].values, window.count);
  }
}

/// Levenberg-Marquardt on the few parameters, from a place that is already near.
Guess refined(const Window& window, Guess guess, Look& seen) {
  look(window, guess, seen);
  guess.squares = seen.squares;
  double damping = 1e-4;
  Look there;
  for (int i = 0; i < refinements_max && damping < 1e6; ++i) {
    double step[parameters_max] = {};
    if (!seen.normal.solve(damping, step)) {
      damping *= 10.0;
      continue;
    }
    Guess next = guess;
    double farthest = 0.0;
    for (std::size_t m = 0; m < guess.modes; ++m) {
      const double stretch = std::clamp(step[guess.modes + m], -0.5, 0.5);
      next.amplitude[m] += step[m];
      next.tau[m] = std::clamp(guess.tau[m] * std::exp(stretch), 0.5 * tau_minutes_min, 2.0 * tau_minutes_max);
      farthest = std::max(farthest, std::fabs(stretch));
    }
    look(window, next, there);
    if (!(there.squares < guess.squares)) {
      if (farthest < 1e-5) break;
      damping *= 10.0;
      continue;
    }
    guess = next;
    guess.squares = there.squares;
    seen = there;
    damping *= 0.2;
    if (farthest < 1e-5) break;
  }
  return guess;
}

/// All first guesses share these columns.
class Search {
 public:
  explicit Search(const Window& window) : window_(window) {
    const double step = std::log(tau_minutes_max / tau_minutes_min) / static_cast<double>(taus - 1);
    for (std::size_t k = 0; k < taus; ++k) {
      grid_[k] = tau_minutes_min * std::exp(step * static_cast<double>(k));
      fill_decay(bases_[k], window, grid_[k]);
    }
  }
  const std::array<double, taus>& grid() const { return grid_; }
  Guess one() const {
    Guess best;
    for (std::size_t k = 0; k < taus; ++k) keep(best, with_one(window_, bases_[k], grid_[k]));
    return best;
  }
  Guess two() const {
    Guess best;
    for (std::size_t k = 0; k < taus; ++k) keep(best, beside(bases_[k], grid_[k]));
    return best;
  }

 private:
  static void keep(Guess& best, const Guess& other) {
    if (other.squares < best.squares) best = other;
  }
  Guess beside(const Basis& slow, double tau) const {
    Guess best;
    for (std::size_t k = 0; k < taus && mode_ratio_min * grid_[k] <= tau; ++k) keep(best, with_two(window_, slow, tau, bases_[k], grid_[k]));
    return best;
  }

  const Window& window_;
  std::array<double, taus> grid_{};
  std::array<Basis, taus> bases_;
};

WarmUpCurve curve_of(const Window& window, const Guess& guess) {
  WarmUpCurve curve;
  curve.end = window.mean;
  for (std::size_t m = 0; m < guess.modes; ++m) {
    Basis basis;
    fill_decay(basis, window, guess.tau[m]);
    curve.end -= guess.amplitude[m] * basis.mean;
    curve.modes[m] = {guess.amplitude[m] * std::exp(-window.span() / guess.tau[m]), guess.tau[m]};
  }
  return curve;
}

double autocorrelation_of(const Look& seen, std::size_t count) {
  double neighbours = 0.0;
  for (std::size_t i = 1; i < count; ++i) neighbours += seen.residual[i] * seen.residual[i - 1];
  return seen.squares > 0.0 ? std::clamp(neighbours / seen.squares, 0.0, autocorrelation_max) : 0.0;
}

/// Leaves out single wild minutes. True if there were any.
bool drop_wild(Window& window, const Look& seen) {
  Column sizes;
  for (std::size_t i = 0; i < window.count; ++i) sizes[i] = std::fabs(seen.residual[i]);
  Column work = sizes;
  const double spread = mad_to_sigma * median_in_place(std::span(work.data(), window.count));
  const double floor = std::sqrt(rounding_share * window.squares);
  std::size_t kept = 0;
  for (std::size_t i = 0; i < window.count; ++i) {
    if (sizes[i] > wild_spreads * spread + floor) continue;
    window.minutes[kept] = window.minutes[i];
    window.y[kept++] = window.y[i];
  }
  // Many at once are no wild minutes but another shape.
  if (kept == window.count || 10 * kept < 9 * window.count || kept < warm_up_minutes_min) return false;
  window.count = kept;
  const std::int64_t first = window.minutes[0];
  for (std::size_t i = 0; i < kept; ++i) window.minutes[i] -= first;
  centre(window);
  return true;
}

double bic(const Window& window, double squares, std::size_t parameters) {
  const double n = static_cast<double>(window.count);
  return n * std::log(std::max(squares, rounding_share * window.squares) / n) + static_cast<double>(parameters) * std::log(n);
}

/// Two-sided 95 % quantile of Student's t to 4 % for three degrees of freedom and better beyond: Abramowitz and Stegun, 26.7.5. The exact
/// one would cost a sixth of the whole fit.
double student_t95_nearly(double degrees) {
  constexpr double z = 1.959964;
  constexpr double first = (z * z * z + z) / 4.0;
  constexpr double second = (5.0 * z * z * z * z * z + 16.0 * z * z * z + 3.0 * z) / 96.0;
  return z + first / degrees + second / (degrees * degrees);
}

bool bends_towards_its_end(const WarmUpCurve& curve) {
  double slope = 0.0;
  double bend = 0.0;
  for (const WarmUpMode& mode : curve.modes) {
    slope -= mode.left / mode.tau_minutes;
    bend += mode.left / (mode.tau_minutes * mode.tau_minutes);
  }
  return slope * bend < 0.0;
}

/// The best with this slow tau, from a guess near by: amplitudes and, of two modes, the fast tau follow.
Guess with_slow(const Window& window, Guess near, double tau) {
  constexpr int steps = 2;
  near.tau[0] = tau;
  Basis slow;
  fill_decay(slow, window, tau);
  if (near.modes == 1) return with_one(window, slow, tau);
  Basis fast;
  fill_decay(fast, window, near.tau[1]);
  Guess best = with_two(window, slow, tau, fast, near.tau[1]);
  Look seen;
  for (int i = 0; i < steps && std::isfinite(best.squares); ++i) {
    look(window, best, seen);
    // Amplitudes and the logarithm of the fast tau: the slow one, third of four, stands still.
    Normal normal = seen.normal;
    normal.size = 3;
    normal.right[2] = normal.right[3];
    for (std::size_t k = 0; k < 2; ++k) normal.a[2][k] = normal.a[k][2] = normal.a[3][k];
    normal.a[2][2] = normal.a[3][3];
    double step[parameters_max] = {};
    if (!normal.solve(1e-6, step)) break;
    const double fast_tau = best.tau[1] * std::exp(std::clamp(step[2], -0.3, 0.3));
    if (!(fast_tau >= 0.5 * tau_minutes_min && mode_ratio_min * fast_tau <= tau)) break;
    fill_decay(fast, window, fast_tau);
    const Guess next = with_two(window, slow, tau, fast, fast_tau);
    if (!(next.squares < best.squares)) break;
    best = next;
  }
  return best;
}

/// What the data allow around the likely place.
struct Allowance {
  double squares = 0.0;    ///< at the likely place
  double variance = 0.0;   ///< of the residuals, widened for their memory
  double t = 2.0;          ///< how many standard deviations
  double log_tau_sd = 0.0;  ///< of the slow tau, linearised
};

/// The slow tau `side` (-1 faster, +1 slower) of the likely one at which the sum of squares has grown by t^2 variances. Its root is nearly
/// straight in ln tau, so a few proportional steps find it. Nothing when that lies beyond the taus looked at.
std::optional<Guess> edge(const Window& window, const Guess& likely, double side, const Allowance& allowance) {
  constexpr int steps = 5;
  const double reach = std::log(side < 0.0 ? likely.tau[0] / tau_minutes_min : tau_minutes_max / likely.tau[0]);
  double away = std::min(allowance.t * allowance.log_tau_sd, reach);
  Guess found = likely;
  for (int i = 0; i < steps; ++i) {
    found = with_slow(window, found, likely.tau[0] * std::exp(side * away));
    const double grown = std::sqrt(std::max(0.0, found.squares - allowance.squares) / allowance.variance);
    if (grown < allowance.t && away >= reach) return std::nullopt;
    if (std::fabs(grown - allowance.t) < 0.05 * allowance.t) break;
    away = std::min({away * allowance.t / std::max(grown, 0.1 * allowance.t), 2.0 * away, reach});
    if (!std::isfinite(found.squares)) found = likely;
  }
  return found;
}

std::optional<WarmUp> warm_up_of(Window& window, bool may_drop) {
  if (!(window.squares > 0.0)) return std::nullopt;
  const Search search(window);
  Look seen;
  Guess guess = refined(window, search.one(), seen);
  if (window.count >= two_mode_minutes_min) {
    Look seen_two;
    Guess start = search.two();
    // Modes on the grid that gain nothing will not gain enough off it.
    if (std::isfinite(start.squares) && bic(window, guess.squares, 3) > bic(window, start.squares, 5)) {
      start = refined(window, start, seen_two);
      if (start.tau[0] < start.tau[1]) {
        std::swap(start.tau[0], start.tau[1]);
        std::swap(start.amplitude[0], start.amplitude[1]);
        look(window, start, seen_two);
      }
      const bool is_plain = start.tau[0] >= mode_ratio_min * start.tau[1] && start.tau[1] >= tau_minutes_min && start.tau[0] <= tau_minutes_max;
      if (is_plain && bic(window, guess.squares, 3) - bic(window, start.squares, 5) > evidence_min) {
        guess = start;
        seen = seen_two;
      }
    }
  }
  if (may_drop && drop_wild(window, seen)) return warm_up_of(window, false);
  if (guess.tau[0] > tau_minutes_max) return std::nullopt;

  const double n = static_cast<double>(window.count);
  const double degrees = n - 1.0 - static_cast<double>(2 * guess.modes);
  const double rho = autocorrelation_of(seen, window.count);
  const double variance = std::max(seen.squares, rounding_share * window.squares) / degrees;
  const double inflated = variance * (1.0 + rho) / (1.0 - rho);
  const double t = student_t95_nearly(std::max(3.0, degrees * (1.0 - rho) / (1.0 + rho)));
  const double allowed = seen.squares + t * t * inflated;

  const Rivals rivals = rivals_of(window, search.grid());
  if (rivals.growing <= seen.squares || (guess.modes == 1 && rivals.straight <= allowed)) return std::nullopt;
  WarmUp warm_up;
  warm_up.likely = curve_of(window, guess);
  if (!bends_towards_its_end(warm_up.likely)) return std::nullopt;
  warm_up.has_two_modes = guess.modes == 2;
  warm_up.residual_sd = std::sqrt(variance);
  Allowance allowance{.squares = seen.squares, .variance = inflated, .t = t};
  Normal along_tau = seen.normal;
  std::fill(std::begin(along_tau.right), std::end(along_tau.right), 0.0);
  along_tau.right[guess.modes] = 1.0;
  double spread[parameters_max] = {};
  if (!along_tau.solve(0.0, spread)) return std::nullopt;
  allowance.log_tau_sd = std::sqrt(inflated * spread[guess.modes]);
  const auto fastest = edge(window, guess, -1.0, allowance);
  const auto slowest = edge(window, guess, 1.0, allowance);
  // Any quickness is allowed: it may be over now.
  warm_up.fastest = fastest ? curve_of(window, *fastest) : WarmUpCurve{.end = warm_up.likely.at(0.0), .modes = {}};
  if (slowest) warm_up.slowest = curve_of(window, *slowest);

  // end = mean(y) - amplitude * mean(column): its variance by the delta method.
  Normal normal = seen.normal;
  std::copy(std::begin(seen.means), std::end(seen.means), std::begin(normal.right));
  double turned[parameters_max] = {};
  double share = 1.0 / n;
  if (!normal.solve(0.0, turned)) return std::nullopt;
  for (std::size_t i = 0; i < normal.size; ++i) share += turned[i] * seen.means[i];
  warm_up.end_sd = std::sqrt(inflated * share);
  return warm_up;
}

}  // namespace

double WarmUpCurve::at(double minutes_ahead) const {
  double y = end;
  for (const WarmUpMode& mode : modes)
    if (mode.left != 0.0) y += mode.left * std::exp(-minutes_ahead / mode.tau_minutes);
  return y;
}

std::optional<WarmUp> fit_warm_up(std::span<const std::int64_t> minutes, std::span<const double> values) {
  if (minutes.size() < warm_up_minutes_min || minutes.size() != values.size()) return std::nullopt;
  Window window;
  window.count = std::min(minutes.size(), warm_up_minutes_max);
  const std::size_t skipped = minutes.size() - window.count;
  for (std::size_t i = 0; i < window.count; ++i) {
    window.minutes[i] = minutes[skipped + i] - minutes[skipped];
    window.y[i] = values[skipped + i];
  }
  centre(window);
  return warm_up_of(window, true);
}

}  // namespace steadyglow::analysis
