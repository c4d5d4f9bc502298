#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <map>

#include "bench/detection/score.hpp"

namespace steadyglow::detection {
namespace {

std::string share(std::size_t part, std::size_t whole) { return whole == 0 ? "-" : fmt::format("{:.1f} % ({}/{})", 100.0 * static_cast<double>(part) / static_cast<double>(whole), part, whole); }

double quantile(const std::vector<double>& sorted, double q) { return sorted[static_cast<std::size_t>(q * static_cast<double>(sorted.size() - 1) + 0.5)]; }

std::string minutes(const std::vector<double>& sorted, double q) { return sorted.empty() ? "-" : fmt::format("{:.0f} min", quantile(sorted, q)); }

std::string clock(double seconds) { return fmt::format("{}:{:02}", static_cast<int>(seconds / 3600.0), static_cast<int>(seconds / 60.0) % 60); }

std::string names_of(const std::vector<PointId>& points, const Outcome& outcome) {
  std::string text;
  for (const PointId id : points) text += (text.empty() ? "" : ",") + outcome.point_names[id.index];
  return text.empty() ? "(unit)" : text;
}

std::string night_of(const Outcome& outcome) {
  const Truth& truth = outcome.truth;
  return fmt::format("{}{}{} seed {} ({:.0f} s)", truth.unit, truth.fault.empty() ? "" : " / ", truth.fault, truth.seed, truth.period_seconds);
}

std::string cry_text(const Cry& cry, const Outcome& outcome) {
  return fmt::format("{} {} {} [{}] {}", clock(cry.at), cry.weight == Weight::trip ? "TRIP" : cry.weight == Weight::warn ? "warn" : "note", cry.kind, names_of(cry.points, outcome), cry.message);
}

std::string truth_text(const Outcome& outcome) {
  const Truth& truth = outcome.truth;
  std::string text = fmt::format("onset {}, {:.0f} % at most", clock(truth.onset), 100.0 * truth.effect);
  if (truth.seen_at) text += fmt::format(", seen {}", clock(*truth.seen_at));
  if (truth.damage_at) text += fmt::format(", damage {}", clock(*truth.damage_at));
  return text + fmt::format(", true {}, ends {}", names_of(truth.points, outcome), clock(truth.hours * 3600.0));
}

void list_misses(const Outcome& outcome, const Verdict& ours) {
  const Truth& truth = outcome.truth;
  if (truth.size == Size::tiny) return;
  if (!ours.found) {
    fmt::print("  miss   {}: {}\n", night_of(outcome), truth_text(outcome));
    for (const Cry& cry : outcome.cries[0])
      if (cry.at >= truth.onset && (cry.weight != Weight::note || std::any_of(cry.points.begin(), cry.points.end(), [&](PointId id) { return std::find(truth.points.begin(), truth.points.end(), id) != truth.points.end(); }))) {
        fmt::print("           said {}\n", cry_text(cry, outcome));
        break;
      }
    return;
  }
  const Verdict limits = verdict_of(outcome, 1);
  std::string why;
  if (truth.damage_at && ours.found->at >= *truth.damage_at) why += " after damage";
  if (limits.found && ours.found->at > limits.found->at + later_allowance_seconds) why += fmt::format(" later than limits by {:.1f} min", (ours.found->at - limits.found->at) / 60.0);
  constexpr double late_seconds = 3600.0;
  if (truth.seen_at && ours.found->at > *truth.seen_at + late_seconds) why += fmt::format(" {:.0f} min after it could be seen", (ours.found->at - *truth.seen_at) / 60.0);
  if (!why.empty()) fmt::print("  late   {}:{}; {}\n           said {}\n", night_of(outcome), why, truth_text(outcome), cry_text(*ours.found, outcome));
}

void list_wrong_words(const Outcome& outcome, const Verdict& ours) {
  if (!ours.first || outcome.truth.size == Size::tiny) return;
  const Truth& truth = outcome.truth;
  const bool is_point_right = std::any_of(ours.first->points.begin(), ours.first->points.end(), [&](PointId id) { return std::find(truth.points.begin(), truth.points.end(), id) != truth.points.end(); });
  const bool is_kind_right = std::find(truth.kinds.begin(), truth.kinds.end(), ours.first->kind) != truth.kinds.end();
  if (is_point_right && is_kind_right) return;
  fmt::print("  {} {}: {}\n           said {}\n", !is_point_right && !is_kind_right ? "both  " : is_point_right ? "kind  " : "point ", night_of(outcome), truth_text(outcome), cry_text(*ours.first, outcome));
}

void print_by(const char* title, const std::vector<Outcome>& outcomes, const std::function<std::string(const Truth&)>& key) {
  struct Row {
    std::size_t nights = 0, false_incidents = 0, faults = 0, found = 0, by_limits = 0;
    double days = 0.0;
  };
  std::map<std::string, Row> rows;
  for (const Outcome& outcome : outcomes) {
    const std::string name = key(outcome.truth);
    if (name.empty()) continue;
    Row& row = rows[name];
    const Verdict ours = verdict_of(outcome, 0);
    ++row.nights;
    row.false_incidents += ours.false_incidents.size();
    row.days += ours.watched_days;
    if (!outcome.is_fault() || outcome.truth.size == Size::tiny) continue;
    ++row.faults;
    row.found += ours.found ? 1 : 0;
    row.by_limits += verdict_of(outcome, 1).found ? 1 : 0;
  }
  fmt::print("\n{:<30}{:>7}{:>7}{:>7}{:>8}{:>8}{:>10}\n", title, "nights", "days", "false", "faults", "found", "by limits");
  for (const auto& [name, row] : rows) fmt::print("{:<30}{:>7}{:>7.1f}{:>7}{:>8}{:>8}{:>10}\n", name, row.nights, row.days, row.false_incidents, row.faults, row.found, row.by_limits);
}

}  // namespace

void print_table(const std::vector<Outcome>& outcomes) {
  std::array<Tally, judge_count> tallies;
  for (std::size_t i = 0; i < judge_count; ++i) tallies[i] = tally_of(outcomes, i);
  const auto line = [&](const char* what, const std::function<std::string(const Tally&)>& cell) {
    fmt::print("{:<40}", what);
    for (const Tally& tally : tallies) fmt::print("{:>24}", cell(tally));
    fmt::print("\n");
  };
  std::size_t tiny = 0;
  for (const Outcome& outcome : outcomes) tiny += outcome.truth.size == Size::tiny ? 1 : 0;
  fmt::print("{:<40}", fmt::format("{} nights ({} faults too small to ask for)", outcomes.size(), tiny));
  for (const char* name : judge_names) fmt::print("{:>24}", name);
  fmt::print("\n");
  line("run-days without a fault", [](const Tally& t) { return fmt::format("{:.1f}", t.days); });
  line("trips without a fault", [](const Tally& t) { return fmt::format("{}", t.trips_on_healthy); });
  line("false incidents", [](const Tally& t) { return fmt::format("{}", t.false_incidents); });
  line("  per run-day, 90 % Poisson interval", [](const Tally& t) {
    const Interval interval = poisson_interval(t.false_incidents);
    const double days = std::max(t.days, 1e-9);
    return fmt::format("{:.3f} ({:.3f}..{:.3f})", static_cast<double>(t.false_incidents) / days, interval.low / days, interval.high / days);
  });
  line("notes per run-day, no incidents", [](const Tally& t) { return fmt::format("{:.2f}", static_cast<double>(t.notes_on_healthy) / std::max(t.days, 1e-9)); });
  line("found, effect of 10 % and more", [](const Tally& t) { return share(t.large_found, t.large); });
  line("found, effect of 3.5 to 10 %", [](const Tally& t) { return share(t.small_found, t.small); });
  line("found, meters and sensors", [](const Tally& t) { return share(t.meter_found, t.meter); });
  line("found, with no false cry there before", [](const Tally& t) { return share(t.credible, t.large + t.small + t.meter); });
  line("found before damage", [](const Tally& t) { return share(t.found_before_damage, t.damaging); });
  line("  lead: median, shortest", [](const Tally& t) { return t.leads.empty() ? std::string("-") : fmt::format("{:.0f} min, {:.1f} min", quantile(t.leads, 0.5), t.leads.front()); });
  line("not later than fixed limits (60 s grace)", [](const Tally& t) { return share(t.never_later, t.found_by_limits); });
  line("  without the grace", [](const Tally& t) { return share(t.strictly_never_later, t.found_by_limits); });
  line("delay from 10 %: median, p90", [](const Tally& t) { return minutes(t.delays, 0.5) + ", " + minutes(t.delays, 0.9); });
  line("right point in the first finding", [](const Tally& t) { return share(t.right_point, t.told); });
  line("right kind in the first finding", [](const Tally& t) { return share(t.right_kind, t.told); });
}

void print_lists(const std::vector<Outcome>& outcomes, bool is_verbose) {
  fmt::print("\nfalse incidents of {}:\n", judge_names[0]);
  for (const Outcome& outcome : outcomes)
    for (const Cry& cry : verdict_of(outcome, 0).false_incidents) fmt::print("  false  {}: {}\n", night_of(outcome), cry_text(cry, outcome));
  fmt::print("\nmisses and late finds of {}:\n", judge_names[0]);
  for (const Outcome& outcome : outcomes)
    if (outcome.is_fault()) list_misses(outcome, verdict_of(outcome, 0));
  fmt::print("\nwrong point or kind in its first finding:\n");
  for (const Outcome& outcome : outcomes)
    if (outcome.is_fault()) list_wrong_words(outcome, verdict_of(outcome, 0));
  if (!is_verbose) return;
  fmt::print("\nfalse incidents of {}:\n", judge_names[1]);
  for (const Outcome& outcome : outcomes)
    for (const Cry& cry : verdict_of(outcome, 1).false_incidents) fmt::print("  limit  {}: {}\n", night_of(outcome), cry_text(cry, outcome));
  print_by("unit", outcomes, [](const Truth& truth) { return truth.unit; });
  print_by("fault", outcomes, [](const Truth& truth) { return truth.fault; });
  fmt::print("\nevery night:\n");
  for (const Outcome& outcome : outcomes) {
    fmt::print("{}{}\n", night_of(outcome), outcome.is_fault() ? ": " + truth_text(outcome) : "");
    for (const Cry& cry : outcome.cries[0]) fmt::print("    {}\n", cry_text(cry, outcome));
  }
}

}  // namespace steadyglow::detection
