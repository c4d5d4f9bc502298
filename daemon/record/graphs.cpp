#include "record/graphs.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "record/plain_words.hpp"
#include "soak/words.hpp"

namespace steadyglow::record {
namespace {

using profile::Role;

constexpr std::size_t name_letters_max = 22;
constexpr double minute_hours = 1.0 / 60.0;
/// So long after a switch-on nothing but temperatures stands near where it will stand: common practice, no source.
constexpr double starting_hours = 0.25;

bool bears_heat(Role role) { return role == Role::heatsink || role == Role::transformer || role == Role::motor || role == Role::chassis; }

/// Minutes into steps that a printer can show. `shift` is taken off, minute by minute; a minute without it is a gap.
/// `cools_down`: shown while it is off as well.
std::vector<Step> steps_of(const std::vector<MinuteFigures>& minutes, const std::vector<MinuteFigures>* shift, const std::vector<bool>& has_power, bool cools_down) {
  const std::size_t per_step = std::max<std::size_t>(1, (minutes.size() + steps_max - 1) / steps_max);
  std::vector<Step> steps;
  for (std::size_t from = 0; from < minutes.size(); from += per_step) {
    const std::size_t to = std::min(from + per_step, minutes.size());
    Step step;
    step.x = static_cast<double>(from + to) / 2.0 * minute_hours;
    std::size_t seen = 0, powered = 0;
    for (std::size_t i = from; i < to; ++i) {
      powered += has_power[i] ? 1 : 0;
      if (!cools_down && !has_power[i]) continue;
      if (!minutes[i].is_seen || (shift != nullptr && !(*shift)[i].is_seen)) continue;
      const double less = shift != nullptr ? (*shift)[i].mean : 0.0;
      step.min = seen == 0 ? minutes[i].min - less : std::min(step.min, minutes[i].min - less);
      step.max = seen == 0 ? minutes[i].max - less : std::max(step.max, minutes[i].max - less);
      step.mean += minutes[i].mean - less;
      ++seen;
    }
    // A step is a gap when any powered minute of it is: a short one must not vanish in a long run.
    step.is_seen = seen > 0 && seen >= powered;
    if (seen > 0) step.mean /= static_cast<double>(seen);
    steps.push_back(step);
  }
  return steps;
}

std::vector<Stretch> stretches(const std::vector<bool>& minutes, bool wanted) {
  std::vector<Stretch> found;
  for (std::size_t i = 0; i < minutes.size();) {
    std::size_t to = i;
    while (to < minutes.size() && minutes[to] == wanted) ++to;
    if (to > i) found.push_back({static_cast<double>(i) * minute_hours, static_cast<double>(to) * minute_hours});
    i = std::max(to, i + 1);
  }
  return found;
}

Chart over_the_run(const RunFigures& figures, std::string title) {
  Chart chart;
  chart.title = std::move(title);
  chart.to = std::max(hours_of(figures.length), 0.02);
  chart.off = stretches(figures.minute_has_power, false);
  chart.counted = stretches(figures.minute_counts, true);
  chart.shows_counted = true;
  return chart;
}

/// Long names do not fit beside a line: then letters stand there, and the caption says which is which.
void name_traces(Chart& chart, const std::vector<std::string>& names) {
  const bool is_long = names.size() > 1 && std::any_of(names.begin(), names.end(), [](const std::string& name) { return name.size() > name_letters_max; });
  for (std::size_t i = 0; i < chart.traces.size(); ++i) {
    chart.traces[i].name = is_long ? std::string(1, static_cast<char>('A' + i)) : names[i];
    if (is_long) chart.alt += fmt::format("{}: {}. ", chart.traces[i].name, names[i]);
  }
}

/// What it shows, for somebody who does not see it.
void tell(Chart& chart) {
  for (const Trace& trace : chart.traces) {
    double low = 0.0, high = 0.0;
    std::size_t seen = 0, missing = 0;
    for (const Step& step : trace.steps) {
      if (!step.is_seen) {
        ++missing;
        continue;
      }
      low = seen == 0 ? step.min : std::min(low, step.min);
      high = seen == 0 ? step.max : std::max(high, step.max);
      ++seen;
    }
    chart.alt += seen == 0 ? fmt::format("{}: no reading. ", trace.name) : fmt::format("{}: between {:.4g} and {:.4g} {}. ", trace.name, low, high, chart.uom);
  }
  const auto limits = [&](const char* word, const profile::Band& band) {
    if (band.high) chart.alt += fmt::format("{} above {}{}", word, significant(*band.high, 3), band.low ? "" : ". ");
    if (band.low) chart.alt += fmt::format("{} below {}. ", band.high ? " and" : word, significant(*band.low, 3));
  };
  limits("Warns", chart.warn);
  limits("Cut", chart.trip);
  if (!chart.warn.empty()) chart.alt += "The shaded band lies between the warning limits. ";
  if (!chart.off.empty()) chart.alt += fmt::format("Crossed hatching: {} {} without power. ", chart.off.size(), chart.off.size() == 1 ? "stretch" : "stretches");
  if (!chart.is_seconds) chart.alt += "Slanted hatching: nothing was read.";
  while (!chart.alt.empty() && chart.alt.back() == ' ') chart.alt.pop_back();
}

bool is_same(const profile::Band& a, const profile::Band& b) { return a.low == b.low && a.high == b.high; }

}  // namespace

std::vector<PointId> points_that_matter(const RunFigures& figures) {
  constexpr std::array order{Role::bias, Role::supply_current, Role::offset, Role::speed, Role::level, Role::other, Role::supply, Role::mains_power, Role::heater, Role::mains_current};
  for (const Role role : order) {
    std::vector<PointId> found;
    for (const PointFigures& one : figures.points)
      if (one.point.role == role && (found.empty() || one.point.uom.symbol == figures.profile.point(found.front()).uom.symbol)) found.push_back(one.id);
    if (found.empty()) continue;
    // Of many, those that came nearest to a limit or moved most.
    const auto worry = [&](PointId id) {
      const PointFigures& one = figures.points[id.index];
      if (!one.start || !one.end) return 0.0;
      const double level = std::max({std::fabs(one.start->mean), std::fabs(one.end->mean), 1e-9});
      return std::fabs(one.end->mean - one.start->mean) / level;
    };
    std::stable_sort(found.begin(), found.end(), [&](PointId a, PointId b) { return worry(a) > worry(b); });
    if (found.size() > traces_max) found.resize(traces_max);
    std::sort(found.begin(), found.end());
    return found;
  }
  return {};
}

Chart chart_of(const RunFigures& figures, std::span<const PointId> points, std::string title) {
  Chart chart = over_the_run(figures, std::move(title));
  if (points.empty()) return chart;
  for (const Stretch& on : stretches(figures.minute_has_power, true)) chart.starting.push_back({on.from, on.from + starting_hours});
  const profile::Point& first = figures.profile.point(points.front());
  chart.uom = first.uom.shown;
  chart.warn = first.warn;
  chart.trip = first.trip;
  std::vector<std::string> names;
  for (const PointId id : points) {
    const PointFigures& one = figures.points[id.index];
    if (!is_same(one.point.warn, first.warn)) chart.warn = {};
    if (!is_same(one.point.trip, first.trip)) chart.trip = {};
    chart.traces.push_back({{}, steps_of(one.minutes, nullptr, figures.minute_has_power, one.point.is_temperature())});
    names.push_back(one.words);
  }
  for (const Touch& touch : figures.touches)
    if (touch.points.empty() || std::any_of(touch.points.begin(), touch.points.end(), [&](PointId id) { return std::find(points.begin(), points.end(), id) != points.end(); }))
      chart.marks.push_back({hours_of(touch.at.time_since_epoch()), touch.is_part ? "part" : "trim"});
  name_traces(chart, names);
  tell(chart);
  return chart;
}

Chart heat_chart(const RunFigures& figures) {
  const auto room = figures.profile.first_of(Role::ambient);
  const bool is_rise = room && std::any_of(figures.points[room->index].minutes.begin(), figures.points[room->index].minutes.end(), [](const MinuteFigures& minute) { return minute.is_seen; });
  Chart chart = over_the_run(figures, is_rise ? "Temperature over the room" : "Temperature");
  chart.uom = is_rise ? "K" : "°C";
  std::vector<const PointFigures*> hot;
  for (const PointFigures& one : figures.points)
    if (bears_heat(one.point.role)) hot.push_back(&one);
  const auto warmth = [](const PointFigures* one) { return one->end ? one->end->mean : one->last_seen ? one->last_seen->mean : 0.0; };
  std::stable_sort(hot.begin(), hot.end(), [&](const auto* a, const auto* b) { return warmth(a) > warmth(b); });
  if (hot.size() > traces_max) hot.resize(traces_max);
  std::sort(hot.begin(), hot.end(), [](const auto* a, const auto* b) { return a->id < b->id; });
  std::vector<std::string> names;
  for (const PointFigures* one : hot) {
    chart.traces.push_back({{}, steps_of(one->minutes, is_rise ? &figures.points[room->index].minutes : nullptr, figures.minute_has_power, true)});
    names.push_back(one->words);
  }
  name_traces(chart, names);
  tell(chart);
  return chart;
}

std::vector<Chart> start_charts(const RunFigures& figures, const StartTrace& start) {
  std::vector<Chart> charts;
  const std::string when = start.is_first ? "first start" : fmt::format("start at {}, after {} off", run_time_words(start.at), span_words(start.off_for));
  const auto add = [&](std::initializer_list<Role> roles, std::string title) {
    Chart chart;
    std::vector<std::string> names;
    for (const Role role : roles) {
      for (const StartTrace::Line& line : start.lines) {
        const PointFigures& one = figures.points[line.id.index];
        if (one.point.role != role || chart.traces.size() == traces_max) continue;
        if (chart.traces.empty()) chart.uom = one.point.uom.shown;
        Trace trace;
        for (std::size_t i = 0; i < line.values.size(); ++i) trace.steps.push_back({line.seconds[i], line.values[i], line.values[i], line.values[i], true});
        chart.traces.push_back(std::move(trace));
        names.push_back(one.words);
      }
      if (!chart.traces.empty()) break;
    }
    if (chart.traces.empty()) return;
    chart.title = title + ": " + when;
    chart.is_seconds = true;
    chart.to = seconds_of(start_trace_length);
    name_traces(chart, names);
    tell(chart);
    charts.push_back(std::move(chart));
  };
  add({Role::mains_power, Role::mains_current, Role::supply_current}, "Draw");
  add({Role::bias, Role::supply, Role::grid_bias, Role::heater}, "How it comes up");
  return charts;
}

}  // namespace steadyglow::record
