#include "bench/detection/score.hpp"

#include <algorithm>
#include <cmath>

namespace steadyglow::detection {
namespace {

bool speaks_of(const Cry& cry, const Truth& truth) {
  return std::any_of(cry.points.begin(), cry.points.end(), [&](PointId id) { return std::find(truth.points.begin(), truth.points.end(), id) != truth.points.end(); });
}

double poisson_below(std::size_t count, double mean) {
  double term = std::exp(-mean), sum = term;
  for (std::size_t i = 1; i <= count; ++i) sum += term *= mean / static_cast<double>(i);
  return sum;
}

double solve(std::size_t count, double share) {
  double low = 0.0, high = 20.0 + 4.0 * static_cast<double>(count);
  for (int i = 0; i < 80; ++i) {
    const double middle = 0.5 * (low + high);
    (poisson_below(count, middle) > share ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace

Interval poisson_interval(std::size_t count) {
  // Beyond this the normal approximation is as good as the figure deserves, and exp(-mean) comes near to nothing.
  constexpr std::size_t exact_max = 200;
  if (count > exact_max) {
    const double n = static_cast<double>(count);
    return {n - 1.645 * std::sqrt(n), n + 1.645 * std::sqrt(n)};
  }
  return {count == 0 ? 0.0 : solve(count - 1, 0.95), solve(count, 0.05)};
}

Verdict verdict_of(const Outcome& outcome, std::size_t judge) {
  const Truth& truth = outcome.truth;
  Verdict verdict;
  const double until = outcome.is_fault() ? truth.onset : truth.hours * 3600.0;
  double last = -incident_seconds;
  double watched = until;
  for (const Cry& cry : outcome.cries[judge]) {
    if (cry.weight == Weight::note) {
      if (cry.at < until) ++verdict.notes;
      continue;
    }
    if (cry.at < until) {
      verdict.cried_before |= speaks_of(cry, truth);
      if (cry.at - last >= incident_seconds) {
        verdict.false_incidents.push_back(cry);
        last = cry.at;
      }
      if (cry.weight == Weight::trip) {
        verdict.is_trip_false = true;
        watched = std::min(watched, cry.at);
      }
      continue;
    }
    if (!verdict.first) verdict.first = cry;
    if (!verdict.found && speaks_of(cry, truth)) verdict.found = cry;
  }
  verdict.watched_days = watched / 86400.0;
  return verdict;
}

Tally tally_of(const std::vector<Outcome>& outcomes, std::size_t judge) {
  constexpr std::size_t limits = 1;
  Tally tally;
  for (const Outcome& outcome : outcomes) {
    const Truth& truth = outcome.truth;
    const Verdict verdict = verdict_of(outcome, judge);
    tally.days += verdict.watched_days;
    tally.false_incidents += verdict.false_incidents.size();
    tally.notes_on_healthy += verdict.notes;
    tally.trips_on_healthy += verdict.is_trip_false ? 1 : 0;
    if (!outcome.is_fault() || truth.size == Size::tiny) continue;
    const std::size_t is_found = verdict.found ? 1 : 0;
    if (truth.size == Size::large) ++tally.large, tally.large_found += is_found;
    if (truth.size == Size::small) ++tally.small, tally.small_found += is_found;
    if (truth.size == Size::meter) ++tally.meter, tally.meter_found += is_found;
    tally.found += is_found;
    if (verdict.found && !verdict.cried_before) ++tally.credible;
    if (truth.damage_at) {
      ++tally.damaging;
      if (verdict.found && verdict.found->at < *truth.damage_at) {
        ++tally.found_before_damage;
        tally.leads.push_back((*truth.damage_at - verdict.found->at) / 60.0);
      }
    }
    if (verdict.found && truth.seen_at) tally.delays.push_back((verdict.found->at - *truth.seen_at) / 60.0);
    if (verdict.first) {
      ++tally.told;
      if (speaks_of(*verdict.first, truth)) ++tally.right_point;
      if (std::find(truth.kinds.begin(), truth.kinds.end(), verdict.first->kind) != truth.kinds.end()) ++tally.right_kind;
    }
    const Verdict by_limits = verdict_of(outcome, limits);
    if (!by_limits.found) continue;
    ++tally.found_by_limits;
    if (verdict.found && verdict.found->at <= by_limits.found->at + later_allowance_seconds) ++tally.never_later;
    if (verdict.found && verdict.found->at <= by_limits.found->at) ++tally.strictly_never_later;
  }
  std::sort(tally.leads.begin(), tally.leads.end());
  std::sort(tally.delays.begin(), tally.delays.end());
  return tally;
}

}  // namespace steadyglow::detection
