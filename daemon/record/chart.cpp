#include "record/chart.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "core/decimal.hpp"

namespace steadyglow::record {
namespace {

constexpr double left = 40.0;
constexpr double head = 3.0;
constexpr double axis_room = 13.0;
constexpr double lane = 4.5;        ///< of what one trace was not seen in
constexpr double lane_gap = 1.5;
constexpr double counted_lane = 4.0;
constexpr double letter = 4.3;      ///< width of one, roughly, at the small size
constexpr double small = 7.0;
constexpr int digits = 3;
constexpr double minutes_below = 2.0;  ///< hours: a run shorter than this is marked in minutes
constexpr std::array inks{Ink::first, Ink::second, Ink::third, Ink::fourth};

std::vector<double> dash_of(std::size_t trace) {
  switch (trace % traces_max) {
    case 0: return {};
    case 1: return {5.0, 2.0};
    case 2: return {1.2, 1.6};
    default: return {6.0, 1.6, 1.2, 1.6};
  }
}

/// A round step with at most `marks_max` marks over the span.
double round_step(double span, int marks_max) {
  if (!(span > 0.0) || !std::isfinite(span)) return 1.0;
  const double rough = span / marks_max;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  for (const double factor : {1.0, 2.0, 2.5, 5.0, 10.0})
    if (factor * power >= rough) return factor * power;
  return 10.0 * power;
}

double hour_step(double hours) {
  for (const double step : {0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0})
    if (hours / step <= 9.0) return step;
  return hours / 9.0;
}

class Plot {
 public:
  Plot(const Chart& chart, double width, double height) : chart_(chart) {
    drawing_.width = width;
    drawing_.height = height;
    const std::size_t count = std::min(chart.traces.size(), traces_max);
    std::size_t longest = 0;
    for (std::size_t i = 0; i < count; ++i) longest = std::max(longest, chart.traces[i].name.size());
    // The names stand at the right; a very long one is on two lines of the caption's legend instead.
    right_ = count > 1 ? std::clamp(static_cast<double>(longest) * letter + 10.0, 20.0, 0.24 * width) : 8.0;
    const double lanes = has_partial_gaps() ? static_cast<double>(count) * (lane + lane_gap) : 0.0;
    bottom_ = height - axis_room - lanes - (chart.shows_counted ? counted_lane + 2.0 : 0.0);
    end_ = width - right_;
    find_span();
  }

  Drawing make() {
    band();
    grid();
    gaps();
    limits();
    for (std::size_t i = 0; i < std::min(chart_.traces.size(), traces_max); ++i) trace(i);
    marks();
    frame();
    names();
    lanes();
    if (low_ > high_) say({(left + end_) / 2.0, (head + bottom_) / 2.0, "no reading", 9.0, Words::Anchor::middle, Ink::soft, false, true});
    return std::move(drawing_);
  }

 private:
  double x(double at) const { return left + (end_ - left) * (at - chart_.from) / std::max(chart_.to - chart_.from, 1e-9); }
  /// What lies beyond the scale is drawn on its edge.
  double y(double value) const { return std::clamp(bottom_ - (bottom_ - head) * (value - low_) / (high_ - low_), head, bottom_); }
  void add(Shape shape) { drawing_.shapes.push_back(std::move(shape)); }
  void say(Words words) { add(std::move(words)); }
  void box(double from, double top, double to, double bottom, Ink ink, double share = 1.0) { add(Area{{{from, top}, {to, top}, {to, bottom}, {from, bottom}}, ink, share}); }

  static bool is_drawn(const Step& step) { return step.is_seen && std::isfinite(step.min) && std::isfinite(step.max); }

  void find_span() {
    low_ = std::numeric_limits<double>::infinity(), high_ = -low_;
    for (const Trace& trace : chart_.traces)
      for (const Step& step : trace.steps)
        if (is_drawn(step) && !is_in(chart_.starting, step.x)) low_ = std::min(low_, step.min), high_ = std::max(high_, step.max);
    if (low_ > high_)  // nothing but a start was seen
      for (const Trace& trace : chart_.traces)
        for (const Step& step : trace.steps)
          if (is_drawn(step)) low_ = std::min(low_, step.min), high_ = std::max(high_, step.max);
    if (low_ > high_) return;
    // What stands still is drawn as standing still: its noise does not fill the plot.
    const double middle = (low_ + high_) / 2.0;
    const double reach = std::max({high_ - low_, 0.06 * std::max(std::fabs(low_), std::fabs(high_)), 1e-6});
    low_ = std::min(low_, middle - reach / 2.0), high_ = std::max(high_, middle + reach / 2.0);
    const double near_low = low_ - 1.6 * reach, near_high = high_ + 1.6 * reach;
    for (const auto& limit : {chart_.warn.low, chart_.warn.high, chart_.trip.low, chart_.trip.high})
      if (limit && *limit > near_low && *limit < near_high) low_ = std::min(low_, *limit), high_ = std::max(high_, *limit);
    const double room = 0.07 * std::max(high_ - low_, reach);
    low_ -= room, high_ += room;
  }

  bool is_inside(double value) const { return value > low_ && value < high_; }

  /// The band between the warning limits, as far as it is in sight.
  void band() {
    if (low_ > high_ || chart_.warn.empty()) return;
    const double top = chart_.warn.high ? std::min(*chart_.warn.high, high_) : high_, bottom = chart_.warn.low ? std::max(*chart_.warn.low, low_) : low_;
    if (top > bottom) box(left, y(top), end_, y(bottom), Ink::band);
  }

  void grid() {
    const double span = chart_.to - chart_.from;
    const bool is_minutes = !chart_.is_seconds && span < minutes_below;
    const double shown = is_minutes ? 60.0 : 1.0;
    const double step = chart_.is_seconds ? round_step(span, 8) : is_minutes ? round_step(span * 60.0, 8) / 60.0 : hour_step(span);
    const double foot = drawing_.height - axis_room / 2.0;
    say({2.0, foot, chart_.is_seconds ? "seconds" : is_minutes ? "minutes" : "hours", small, Words::Anchor::begin, Ink::soft, false, false});
    for (double at = std::ceil(chart_.from / step - 1e-9) * step; at <= chart_.to + 1e-9; at += step) {
      add(Stroke{{{x(at), head}, {x(at), bottom_}}, Ink::line, 0.4, {}});
      const auto anchor = x(at) > end_ - 8.0 ? Words::Anchor::end : Words::Anchor::middle;
      say({x(at), foot, fmt::format("{:g}", std::round(at * shown * 1000.0) / 1000.0 + 0.0), small, anchor, Ink::soft, false, false});
    }
    if (low_ > high_) return;
    const double value_step = round_step(high_ - low_, std::max(2, static_cast<int>((bottom_ - head) / 13.0)));
    for (double at = std::ceil(low_ / value_step) * value_step; at < high_; at += value_step) {
      if (y(at) < head + 4.0 || y(at) > bottom_ - 2.0) continue;
      add(Stroke{{{left, y(at)}, {end_, y(at)}}, Ink::line, 0.3, {}});
      say({left - 3.0, y(at), to_text(at, value_step), small, Words::Anchor::end, Ink::soft, false, false});
    }
  }

  static std::string to_text(double value, double step) {
    int places = 0;
    for (double rest = step; places < 6 && std::fabs(rest - std::round(rest)) > 1e-6 * step; rest *= 10.0) ++places;
    const std::string text = fmt::format("{:.{}f}", value, places);
    return text.find_first_not_of("-0.") == std::string::npos ? "0" : text;
  }

  bool is_missing(const Trace& trace, std::size_t i) const { return i >= trace.steps.size() || !is_drawn(trace.steps[i]); }

  bool has_partial_gaps() const {
    const std::size_t count = std::min(chart_.traces.size(), traces_max);
    if (count < 2) return false;
    for (std::size_t i = 0; i < steps(); ++i) {
      std::size_t missing = 0;
      for (std::size_t t = 0; t < count; ++t) missing += is_missing(chart_.traces[t], i) ? 1 : 0;
      if (missing > 0 && missing < count) return true;
    }
    return false;
  }

  std::size_t steps() const {
    std::size_t most = 0;
    for (const Trace& trace : chart_.traces) most = std::max(most, trace.steps.size());
    return chart_.is_seconds ? 0 : most;  // a start is read when it is read: its traces have no common steps
  }
  /// Where a step begins.
  double edge(std::size_t i) const { return left + (end_ - left) * static_cast<double>(i) / static_cast<double>(std::max<std::size_t>(steps(), 1)); }

  static bool is_in(const std::vector<Stretch>& stretches, double at) {
    return std::any_of(stretches.begin(), stretches.end(), [&](const Stretch& one) { return at >= one.from && at <= one.to; });
  }
  bool is_off(double at) const { return is_in(chart_.off, at); }

  /// Runs of steps for which `is_gap` holds, each as from and to on the paper. What was off is no gap.
  template <class IsGap, class Do>
  void each_gap(IsGap is_gap, Do what) const {
    const auto fits = [&](std::size_t i) { return is_gap(i) && !is_off(chart_.from + (chart_.to - chart_.from) * (static_cast<double>(i) + 0.5) / static_cast<double>(steps())); };
    for (std::size_t i = 0; i < steps();) {
      std::size_t to = i;
      while (to < steps() && fits(to)) ++to;
      if (to > i) what(edge(i), edge(to));
      i = std::max(to, i + 1);
    }
  }

  void gaps() {
    for (const Stretch& off : chart_.off) {
      const double from = std::max(left, x(off.from)), to = std::min(end_, std::max(x(off.to), x(off.from) + 1.0));
      if (to > from) add(Hatch{from, head, to - from, bottom_ - head, true});
    }
    const std::size_t count = std::min(chart_.traces.size(), traces_max);
    each_gap([&](std::size_t i) { return std::all_of(chart_.traces.begin(), chart_.traces.begin() + static_cast<std::ptrdiff_t>(count), [&](const Trace& trace) { return is_missing(trace, i); }); },
             [&](double from, double to) { add(Hatch{from, head, to - from, bottom_ - head, false}); });
  }

  void limits() {
    if (low_ > high_) return;
    struct Named {
      std::optional<double> value;
      const char* word;
      Ink ink;
    };
    double taken = std::numeric_limits<double>::infinity();
    bool is_one_beyond = false;
    for (const Named& limit : {Named{chart_.trip.high, "cut above", Ink::trip}, {chart_.warn.high, "warns above", Ink::warn}, {chart_.warn.low, "warns below", Ink::warn}, {chart_.trip.low, "cut below", Ink::trip}}) {
      if (!limit.value) continue;
      if (!is_inside(*limit.value)) {
        is_one_beyond = true;
        continue;
      }
      const bool is_trip = limit.ink == Ink::trip;
      add(Stroke{{{left, y(*limit.value)}, {end_, y(*limit.value)}}, limit.ink, is_trip ? 1.2 : 0.8, is_trip ? std::vector<double>{} : std::vector<double>{3.0, 2.0}});
      // Two that stand close are written side by side.
      const bool is_close = std::fabs(y(*limit.value) - taken) < 9.0;
      say({left + (is_close ? 92.0 : 4.0), y(*limit.value) + (y(*limit.value) < head + 8.0 ? 5.5 : -5.0), fmt::format("{} {}", limit.word, to_figure(*limit.value, digits)), small, Words::Anchor::begin, limit.ink, false, true});
      taken = y(*limit.value);
    }
    // Which and where, the caption says: there is no room for it here.
    if (is_one_beyond) say({left + 4.0, bottom_ - 6.0, "a limit lies beyond this scale", small - 1.0, Words::Anchor::begin, Ink::soft, false, true});
  }

  void trace(std::size_t index) {
    const Trace& trace = chart_.traces[index];
    const Ink ink = inks[index % inks.size()];
    for (std::size_t i = 0; i < trace.steps.size();) {
      if (!is_drawn(trace.steps[i])) {
        ++i;
        continue;
      }
      std::vector<Spot> mean, above, below;
      for (; i < trace.steps.size() && is_drawn(trace.steps[i]); ++i) {
        const Step& step = trace.steps[i];
        mean.push_back({x(step.x), y(step.mean)});
        above.push_back({x(step.x), y(step.max)});
        below.push_back({x(step.x), y(step.min)});
      }
      if (mean.size() == 1) mean = {{mean[0].x - 0.7, mean[0].y}, {mean[0].x + 0.7, mean[0].y}};
      else {
        above.insert(above.end(), below.rbegin(), below.rend());
        add(Area{std::move(above), ink, 0.22});
      }
      add(Stroke{std::move(mean), ink, 1.1, dash_of(index)});
    }
  }

  void marks() {
    double last = -1e9;
    int row = 0;
    for (const Mark& mark : chart_.marks) {
      const double at = x(mark.x);
      if (at < left || at > end_) continue;
      add(Stroke{{{at, head}, {at, bottom_}}, Ink::text, 0.8, {2.0, 1.5}});
      add(Area{{{at - 3.0, head}, {at + 3.0, head}, {at, head + 5.0}}, Ink::text, 1.0});
      row = at - last < 40.0 ? row + 1 : 0;
      last = at;
      const bool is_late = at > end_ - 40.0;
      say({at + (is_late ? -4.0 : 4.0), head + 6.0 + 9.0 * (row % 3), mark.text, small, is_late ? Words::Anchor::end : Words::Anchor::begin, Ink::text, true, true});
    }
  }

  void frame() { add(Stroke{{{left, head}, {end_, head}, {end_, bottom_}, {left, bottom_}, {left, head}}, Ink::soft, 0.7, {}}); }

  /// Beside the end of each line, moved apart where they would cover each other.
  void names() {
    const std::size_t count = std::min(chart_.traces.size(), traces_max);
    if (count < 2 || low_ > high_) return;
    struct Name {
      std::size_t trace;
      double y;
    };
    std::vector<Name> names;
    for (std::size_t i = 0; i < count; ++i) {
      const auto& steps = chart_.traces[i].steps;
      const auto last = std::find_if(steps.rbegin(), steps.rend(), is_drawn);
      names.push_back({i, last == steps.rend() ? bottom_ : y(last->mean)});
    }
    std::stable_sort(names.begin(), names.end(), [](const Name& a, const Name& b) { return a.y < b.y; });
    constexpr double apart = 9.0;
    for (std::size_t i = 0; i < names.size(); ++i) names[i].y = std::max(names[i].y, i == 0 ? head + 5.0 : names[i - 1].y + apart);
    double lowest = bottom_ - 4.0;
    for (std::size_t i = names.size(); i-- > 0; lowest = names[i].y - apart) names[i].y = std::min(names[i].y, lowest);
    for (const Name& name : names) {
      const Ink ink = inks[name.trace % inks.size()];
      add(Stroke{{{end_ + 2.0, name.y}, {end_ + 12.0, name.y}}, ink, 1.2, dash_of(name.trace)});
      say({end_ + 14.0, name.y, chart_.traces[name.trace].name, small, Words::Anchor::begin, ink, false, false});
    }
  }

  void lanes() {
    double top = bottom_ + 2.0;
    if (chart_.shows_counted) {
      say({left - 3.0, top + counted_lane / 2.0, "counted", small - 1.5, Words::Anchor::end, Ink::soft, false, false});
      for (const Stretch& counted : chart_.counted) {
        const double from = std::clamp(x(counted.from), left, end_), to = std::clamp(x(counted.to), left, end_);
        if (to > from) box(from, top, std::max(to, from + 0.4), top + counted_lane - 1.0, Ink::text, 0.75);
      }
      top += counted_lane;
    }
    if (!has_partial_gaps()) return;
    for (std::size_t t = 0; t < std::min(chart_.traces.size(), traces_max); ++t) {
      say({end_ + 4.0, top + lane / 2.0, chart_.traces[t].name, small - 2.0, Words::Anchor::begin, Ink::soft, false, false});
      add(Stroke{{{left, top + lane}, {end_, top + lane}}, Ink::line, 0.3, {}});
      each_gap([&](std::size_t i) { return is_missing(chart_.traces[t], i); }, [&](double from, double to) { add(Hatch{from, top, std::max(to - from, 1.0), lane, false}); });
      top += lane + lane_gap;
    }
  }

  const Chart& chart_;
  Drawing drawing_;
  double right_ = 8.0;
  double bottom_ = 0.0;
  double end_ = 0.0;
  double low_ = 0.0;
  double high_ = 1.0;
};

}  // namespace

std::string title_of(const Chart& chart) { return chart.uom.empty() ? chart.title : fmt::format("{} ({})", chart.title, chart.uom); }

Drawing draw_chart(const Chart& chart, double width, double height) { return Plot(chart, width, height).make(); }

}  // namespace steadyglow::record
