#include "record/compare.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numeric>

#include "analysis/compensation.hpp"
#include "analysis/rank_trend.hpp"
#include "analysis/statistics.hpp"
#include "analysis/uncertainty.hpp"
#include "core/decimal.hpp"
#include "record/plain_words.hpp"
#include "soak/verdict.hpp"

namespace steadyglow::record {
namespace {

using profile::Role;

constexpr double coverage_factor = 2.0;
/// The exponent counts as learned when the night has made it this much surer than the role alone: common practice, no source.
constexpr double learned_share = 0.7;
/// Rooms that differ by less need no word.
constexpr double room_kelvin_same = 3.0;
/// Mains that differ by more than this lean on the exponent: common practice, no source.
constexpr double mains_share_far = 0.05;
constexpr double tolerance_share = 0.95;
constexpr double tolerance_confidence = 0.95;

/// What a figure is multiplied with to be shown: millivolts over a sense resistor become milliamperes.
struct Shown {
  double factor = 1.0;
  std::string uom;
};

Shown shown_of(const profile::Point& point) {
  const bool is_sense = point.sense && point.sense->value > 0.0 && point.quantity == Quantity::voltage && point.role == Role::bias;
  if (!is_sense) return {1.0, point.is_temperature() ? "K" : std::string(point.uom.shown)};
  // I = V / R, in mA whatever the volts were in.
  return {1000.0 * point.uom.to_base / point.sense->value, "mA"};
}

bool is_condition(const profile::Point& point) { return point.role == Role::mains_voltage || point.role == Role::ambient || point.quantity == Quantity::state || point.quantity == Quantity::energy; }

/// A level of a point, and when it was taken.
struct Chosen {
  const Level* level = nullptr;
  const char* when = "";
  bool is_settled = true;
};

Chosen best_of(const PointFigures& point) {
  if (point.end) return {&*point.end, "last counted hour", true};
  if (point.start) return {&*point.start, "baseline", true};
  if (point.last_seen) return {&*point.last_seen, "last quarter of an hour with power", false};
  return {};
}

/// The same kind of level of both where there is one; else the best of each.
std::array<Chosen, 2> chosen_of(const PointFigures& earlier, const PointFigures& later) {
  if (earlier.end && later.end) return {best_of(earlier), best_of(later)};
  if (earlier.start && later.start) return {Chosen{&*earlier.start, "baseline", true}, Chosen{&*later.start, "baseline", true}};
  return {best_of(earlier), best_of(later)};
}

struct Exponent {
  double value = 0.0;
  double sd = 0.0;
  bool is_learned = false;
};

/// Of both nights, each weighed by how sure it is.
Exponent exponent_of(std::span<const PointFigures* const> points) {
  const analysis::Expectation usual = analysis::expect(points.front()->point.role, points.front()->point.quantity);
  double weight = 0.0;
  double sum = 0.0;
  for (const PointFigures* point : points) {
    if (!usual.is_exponent_learned || point->mains_exponent_sd <= 0.0 || point->mains_exponent_sd > learned_share * usual.mains_exponent_sd) continue;
    const double w = 1.0 / (point->mains_exponent_sd * point->mains_exponent_sd);
    weight += w;
    sum += w * point->mains_exponent;
  }
  if (weight <= 0.0) return {usual.mains_exponent, usual.mains_exponent_sd, false};
  return {sum / weight, std::sqrt(1.0 / weight), true};
}

/// Makes a level comparable with those at `reference_volts`.
struct Bringing {
  const profile::Point& point;
  Exponent exponent;
  std::optional<double> reference_volts;
  bool is_rise = false;  ///< a temperature over a room that was measured on all sides

  double value(double measured, std::optional<double> volts, std::optional<double> room) const {
    if (is_rise && room) measured -= *room;
    if (!reference_volts || !volts || *volts <= 0.0 || *reference_volts <= 0.0 || (point.is_temperature() && !is_rise)) return measured;
    return measured * std::pow(*reference_volts / *volts, exponent.value);
  }
  std::string words() const {
    if (point.is_temperature() && !is_rise) return "as measured: the room was not measured";
    const std::string volts = reference_volts ? fmt::format("at {:.1f} V", *reference_volts) : std::string("as measured: the mains were not measured in both");
    return is_rise ? "rise over the room, " + volts : volts;
  }
};

/// The minutes of a level at equal mains: their median, how they lie about a straight line, and how fast that line goes.
struct Course {
  double level = 0.0;
  double wander = 0.0;
  double per_hour = 0.0;
};
/// Fewer minutes give no line worth its name.
constexpr std::size_t course_minutes_min = 10;

const PointFigures* first_of(const RunFigures& run, Role role) {
  const auto id = run.profile.first_of(role);
  return id && id->index < run.points.size() ? &run.points[id->index] : nullptr;
}

std::optional<double> minute_of(const PointFigures* point, std::size_t minute) {
  return point != nullptr && minute < point->minutes.size() && point->minutes[minute].is_seen ? std::optional(point->minutes[minute].mean) : std::nullopt;
}

/// One minute of a point at the conditions of the comparison, in its own uom.
std::optional<double> brought(const RunFigures& run, const PointFigures& point, const Bringing& bringing, std::size_t minute) {
  const PointFigures* mains = first_of(run, Role::mains_voltage);
  auto volts = minute_of(mains, minute);
  if (volts) volts = *volts * mains->point.uom.to_base;
  const auto room = minute_of(first_of(run, Role::ambient), minute);
  const auto measured = minute_of(&point, minute);
  if (!measured || (bringing.is_rise && !room)) return std::nullopt;
  return bringing.value(*measured, volts, room);
}

Course course_of(const RunFigures& run, const PointFigures& point, const Chosen& chosen, const Bringing& bringing) {
  std::vector<double> hours, values;
  const auto first = static_cast<std::size_t>(std::max<std::int64_t>(0, ms_of(chosen.level->from)) / 60'000);
  const auto last = static_cast<std::size_t>(std::max<std::int64_t>(0, ms_of(chosen.level->to) + 59'999) / 60'000);
  for (std::size_t minute = first; minute < std::min(last, point.minutes.size()); ++minute) {
    if (chosen.level == (point.end ? &*point.end : nullptr) && minute < run.minute_counts.size() && !run.minute_counts[minute]) continue;
    if (const auto value = brought(run, point, bringing, minute)) hours.push_back(static_cast<double>(minute) / 60.0), values.push_back(*value);
  }
  if (values.size() < course_minutes_min) return {bringing.value(chosen.level->mean, chosen.level->mains_volts, chosen.level->room_celsius), chosen.level->spread, 0.0};
  // A minute in which it was switched off, or a clip touched, must not move them: medians throughout.
  const auto line = analysis::theil_sen(hours, values);
  std::vector<double> about = values;
  for (std::size_t i = 0; line && i < about.size(); ++i) about[i] -= line->slope * hours[i];
  return {analysis::robust_of(values).level, analysis::robust_of(about).spread, line ? line->slope : 0.0};
}

bool has_both_mains(const Chosen& a, const Chosen& b) { return a.level->mains_volts && b.level->mains_volts; }

SideFigure side_of(const RunFigures& run, const PointFigures& point, const Chosen& chosen, const Bringing& bringing, const Shown& shown) {
  const Course course = course_of(run, point, chosen, bringing);
  SideFigure side;
  side.as_measured = chosen.level->mean * shown.factor;
  side.value = course.level * shown.factor;
  side.is_meter_stated = point.expanded_uncertainty.has_value();
  side.meter = point.expanded_uncertainty.value_or(0.0) / coverage_factor * shown.factor;
  side.wander = course.wander * shown.factor;
  side.per_hour = course.per_hour * shown.factor;
  side.when = chosen.when;
  side.mains_volts = chosen.level->mains_volts;
  side.room_celsius = chosen.level->room_celsius;
  return side;
}

/// What the mains exponent leaves open when a figure is brought over a distance of mains: |y ln(V1/V2)| u(k).
double exponent_part(double value, const Bringing& bringing, std::optional<double> volts) {
  if (!bringing.reference_volts || !volts || *volts <= 0.0 || (bringing.point.is_temperature() && !bringing.is_rise)) return 0.0;
  return std::fabs(value * std::log(*bringing.reference_volts / *volts)) * bringing.exponent.sd;
}

/// What a room that was another leaves open: the role's allowance as the half-width of a rectangle (GUM 4.3.7).
double room_part(const profile::Point& point, double value, const SideFigure& a, const SideFigure& b, double factor) {
  if (point.is_temperature() || !a.room_celsius || !b.room_celsius) return 0.0;
  const analysis::Expectation usual = analysis::expect(point.role, point.quantity);
  const double half_width = usual.per_kelvin * std::fabs(*a.room_celsius - *b.room_celsius) * (usual.is_relative ? std::fabs(value) : factor);
  return half_width / std::sqrt(3.0);
}

double combined(std::initializer_list<double> parts) {
  std::vector<analysis::Component> components;
  for (const double part : parts) components.push_back({.standard_uncertainty = part});
  return coverage_factor * analysis::combine(components).standard_uncertainty;
}

Standing standing_of(bool is_outside, bool are_meters_stated) { return !is_outside ? Standing::inside : are_meters_stated ? Standing::beyond : Standing::beyond_wander; }

std::string with_uom(std::string text, const std::string& uom) { return uom.empty() ? text : text + " " + uom; }

std::string sentence_of(const PointDifference& d) {
  const std::string what = fmt::format("{} {} -> {} {}", d.words, figure_words(d.earlier.value, d.expanded_uncertainty), with_uom(figure_words(d.later.value, d.expanded_uncertainty), d.uom), d.conditions);
  const std::string u = with_uom(figure_words(d.expanded_uncertainty, d.expanded_uncertainty), d.uom);
  switch (d.standing) {
    case Standing::inside: return fmt::format("{}: inside its uncertainty of {}", what, u);
    case Standing::beyond: return fmt::format("{}: beyond its uncertainty of {}", what, u);
    case Standing::beyond_wander: break;
  }
  return fmt::format("{}: more than it wandered ({}), but how far the meters may be off is not stated", what, u);
}

/// Runs as one names them.
RunLabel label_of(const RunFigures& figures) {
  RunLabel label;
  label.run = figures.run.id;
  label.unit = figures.run.unit;
  label.title = figures.run.title;
  label.serial = figures.run.serial;
  label.started_utc = figures.run.started_utc;
  label.counted_hours = hours_of(figures.counted);
  if (figures.signature) label.verdict = figures.signature->word;
  else if (figures.verdict) label.verdict = soak::to_word(figures.verdict->word);
  for (const PointFigures& point : figures.points) {
    const Chosen chosen = best_of(point);
    if (chosen.level == nullptr) continue;
    if (!label.mains_volts) label.mains_volts = chosen.level->mains_volts;
    if (!label.room_celsius) label.room_celsius = chosen.level->room_celsius;
  }
  return label;
}

// ---- overlays ----------------------------------------------------------------------------------------------------

void thin(OverlayLine& line) {
  if (line.hours.size() <= overlay_steps_max) return;
  const std::size_t each = (line.hours.size() + overlay_steps_max - 1) / overlay_steps_max;
  OverlayLine thinned;
  for (std::size_t from = 0; from < line.hours.size(); from += each) {
    const std::size_t to = std::min(from + each, line.hours.size());
    double sum = 0.0;
    std::size_t count = 0;
    for (std::size_t i = from; i < to; ++i)
      if (line.values[i]) sum += *line.values[i], ++count;
    thinned.hours.push_back(line.hours[from]);
    thinned.values.push_back(count > 0 ? std::optional(sum / static_cast<double>(count)) : std::nullopt);
  }
  line = std::move(thinned);
}

/// Minutes of a point at the mains of the comparison.
void lay(const RunFigures& run, const PointFigures& point, const Bringing& bringing, const Shown& shown, OverlayLine& by_switch_on, OverlayLine& by_counted) {
  std::size_t counted = 0;
  std::optional<std::size_t> first;
  for (std::size_t i = 0; i < run.minute_has_power.size(); ++i) {
    if (!first && run.minute_has_power[i]) first = i;
    if (!first) continue;
    // The minute in which it goes off is half of each.
    const bool is_on = run.minute_has_power[i] && (i + 1 == run.minute_has_power.size() || run.minute_has_power[i + 1]);
    auto value = is_on ? brought(run, point, bringing, i) : std::nullopt;
    if (value) value = *value * shown.factor;
    by_switch_on.hours.push_back(static_cast<double>(i - *first) / 60.0);
    by_switch_on.values.push_back(value);
    if (i >= run.minute_counts.size() || !run.minute_counts[i]) continue;
    by_counted.hours.push_back(static_cast<double>(counted++) / 60.0);
    by_counted.values.push_back(value);
  }
  thin(by_switch_on);
  thin(by_counted);
}

// ---- what it may mean --------------------------------------------------------------------------------------------

bool is_beyond(const PointDifference& d) { return d.standing != Standing::inside; }

/// One of several alike alone: it, or its socket. All alike the same way: what they share. From the bench's experience, no source.
void tell_meaning(const RunFigures& earlier, Comparison& made) {
  std::vector<const PointDifference*> bias, moved, supplies_moved;
  for (const PointDifference& d : made.points) {
    const auto id = earlier.profile.find(d.point);
    const Role role = id ? earlier.profile.point(*id).role : Role::other;
    if (role == Role::bias) bias.push_back(&d);
    if (role == Role::bias && is_beyond(d)) moved.push_back(&d);
    if ((role == Role::supply || role == Role::grid_bias || role == Role::heater) && is_beyond(d)) supplies_moved.push_back(&d);
  }
  if (bias.size() < 2 || moved.empty()) return;
  // The one that moved most for what is known of it comes first.
  const auto clearer = [](const PointDifference* a, const PointDifference* b) { return std::fabs(a->difference) * b->expanded_uncertainty > std::fabs(b->difference) * a->expanded_uncertainty; };
  std::sort(supplies_moved.begin(), supplies_moved.end(), clearer);
  if (moved.size() == 1 && supplies_moved.empty())
    made.sentences.push_back(fmt::format("Only {} moved, and what feeds it together with the others did not: look at that device, its socket, its heater joint and what feeds it alone", moved.front()->words));
  const bool are_all_one_way = std::all_of(moved.begin(), moved.end(), [&](const PointDifference* d) { return d->difference * moved.front()->difference > 0.0; });
  if (moved.size() == bias.size() && are_all_one_way)
    made.sentences.push_back(supplies_moved.empty() ? "All idle currents moved the same way: look at what they share"
                                                    : fmt::format("All idle currents moved the same way, and {} did too: look there first", supplies_moved.front()->words));
}

void remark_on_conditions(const RunFigures& earlier, const RunFigures& later, Comparison& made) {
  if (earlier.run.serial != later.run.serial) made.remarks.push_back("these are two units, not one: how far good units of a model lie apart is in the differences");
  if (earlier.run.profile_text != later.run.profile_text) made.remarks.push_back("the two runs were made with different profiles: points are matched by their names");
  if (earlier.profile.drive != later.profile.drive) made.remarks.push_back("the unit was driven differently in the two runs");
  if (made.earlier.mains_volts && made.later.mains_volts && std::fabs(*made.later.mains_volts / *made.earlier.mains_volts - 1.0) > mains_share_far)
    made.remarks.push_back(fmt::format("the mains were far apart ({:.1f} V and {:.1f} V): the differences lean on how each point follows the mains", *made.earlier.mains_volts, *made.later.mains_volts));
  if (made.earlier.room_celsius && made.later.room_celsius && std::fabs(*made.later.room_celsius - *made.earlier.room_celsius) > room_kelvin_same)
    made.remarks.push_back(fmt::format("the room was at {:.0f} °C and at {:.0f} °C: temperatures are compared as rises over it", *made.earlier.room_celsius, *made.later.room_celsius));
  for (const RunFigures* run : {&earlier, &later})
    if (run->run.is_imported()) made.remarks.push_back(fmt::format("run {} was brought in from a file", run->run.id));
}

}  // namespace

std::string figure_words(double value, double uncertainty) {
  const int decimals = uncertainty > 0.0 ? std::clamp(1 - static_cast<int>(std::floor(std::log10(uncertainty))), 0, 6) : 3;
  const double step = std::pow(10.0, -decimals);
  return fmt::format("{:.{}f}", std::fabs(value) < step / 2.0 ? 0.0 : value, decimals);
}

std::string_view to_word(Standing standing) {
  switch (standing) {
    case Standing::inside: return "inside";
    case Standing::beyond: return "beyond";
    case Standing::beyond_wander: break;
  }
  return "beyond_wander";
}

Comparison compare(const RunFigures& earlier, const RunFigures& later) {
  Comparison made;
  made.earlier = label_of(earlier);
  made.later = label_of(later);
  std::vector<std::string> unsettled, moving_earlier, moving_later;
  for (const PointFigures& before : earlier.points) {
    if (is_condition(before.point)) continue;
    const PointFigures* after = later.find(before.point.name);
    const bool is_same_kind = after != nullptr && after->point.quantity == before.point.quantity && after->point.uom.symbol == before.point.uom.symbol;
    const auto chosen = is_same_kind ? chosen_of(before, *after) : std::array<Chosen, 2>{};
    if (chosen[0].level == nullptr || chosen[1].level == nullptr) {
      made.only_earlier.push_back(after != nullptr && !is_same_kind ? before.words + " (measured in another way)" : before.words);
      continue;
    }
    const Shown shown = shown_of(before.point);
    const std::array<const PointFigures*, 2> both{&before, after};
    Bringing bringing{before.point, exponent_of(both), {}, before.point.is_temperature() && chosen[0].level->room_celsius && chosen[1].level->room_celsius};
    if (has_both_mains(chosen[0], chosen[1])) bringing.reference_volts = chosen[0].level->mains_volts;

    PointDifference d;
    d.point = before.point.name;
    d.words = before.words;
    d.role_words = before.role_words;
    d.uom = shown.uom;
    d.earlier = side_of(earlier, before, chosen[0], bringing, shown);
    // Each with its own resistor: it is the current that is compared.
    d.later = side_of(later, *after, chosen[1], bringing, shown.uom == "mA" ? shown_of(after->point) : shown);
    d.difference = d.later.value - d.earlier.value;
    const analysis::Expectation usual = analysis::expect(before.point.role, before.point.quantity);
    if (usual.is_relative && std::fabs(d.earlier.value) > 0.0) d.share = d.difference / std::fabs(d.earlier.value);
    d.expanded_uncertainty = combined({d.earlier.meter, d.later.meter, d.earlier.wander, d.later.wander, exponent_part(d.later.value, bringing, d.later.mains_volts),
                                       room_part(before.point, d.later.value, d.earlier, d.later, shown.factor)});
    d.standing = standing_of(std::fabs(d.difference) > d.expanded_uncertainty, d.earlier.is_meter_stated && d.later.is_meter_stated);
    d.mains_exponent = bringing.exponent.value;
    d.is_exponent_learned = bringing.exponent.is_learned;
    d.conditions = bringing.words();
    d.sentence = sentence_of(d);
    if (is_beyond(d)) made.sentences.push_back(d.sentence);
    for (const auto& [side, moving] : {std::pair{&d.earlier, &moving_earlier}, std::pair{&d.later, &moving_later}})
      if (std::fabs(side->per_hour) > d.expanded_uncertainty) moving->push_back(d.words + " " + with_uom(fmt::format("{:+.2g}", side->per_hour), d.uom));
    if (!chosen[0].is_settled || !chosen[1].is_settled) unsettled.push_back(d.words);

    Overlay overlay{d.point, d.words, d.uom, {}, {}, {}, {}};
    lay(earlier, before, bringing, shown, overlay.earlier_by_switch_on, overlay.earlier_by_counted);
    lay(later, *after, bringing, shown, overlay.later_by_switch_on, overlay.later_by_counted);
    made.overlays.push_back(std::move(overlay));
    made.points.push_back(std::move(d));
  }
  for (const PointFigures& point : later.points)
    if (const PointFigures* before = earlier.find(point.point.name); !is_condition(point.point) && before == nullptr) made.only_later.push_back(point.words);
  if (made.sentences.empty() && !made.points.empty()) made.sentences.push_back("No point differs by more than its uncertainty");
  tell_meaning(earlier, made);
  remark_on_conditions(earlier, later, made);
  for (const auto& [run, moving] : {std::pair{earlier.run.id, &moving_earlier}, std::pair{later.run.id, &moving_later}})
    if (!moving->empty()) made.remarks.push_back(fmt::format("still moving in run {}, and compared in the middle: {} an hour", run, fmt::join(*moving, ", ")));
  if (!unsettled.empty()) made.remarks.push_back(fmt::format("not settled in one of the runs, and compared as last seen: {}", fmt::join(unsettled, ", ")));
  return made;
}

// ---- against the model -------------------------------------------------------------------------------------------

double tolerance_factor(std::size_t count, double share, double confidence) {
  const double n = static_cast<double>(count);
  const double z = boost::math::quantile(boost::math::normal_distribution<>(), (1.0 + share) / 2.0);
  const double chi = boost::math::quantile(boost::math::chi_squared_distribution<>(n - 1.0), 1.0 - confidence);
  return z * std::sqrt((n - 1.0) * (1.0 + 1.0 / n) / chi);
}

namespace {

std::string model_sentence(const ModelPoint& p) {
  const double scale = std::max(p.expanded_uncertainty, p.spread / 10.0);
  const std::string what = fmt::format("{} {} {}", p.words, with_uom(figure_words(p.later.value, scale), p.uom), p.conditions);
  const std::string units = p.earlier.size() == 1 ? "one good unit" : fmt::format("{} good units", p.earlier.size());
  const std::string range = p.earlier.size() == 1 ? figure_words(p.low, scale) : fmt::format("{} to {}, median {}", figure_words(p.low, scale), figure_words(p.high, scale), figure_words(p.median, scale));
  const std::string seen = p.is_tolerance_interval ? fmt::format("95 % of good units are expected in {} (confidence 95 %, from {})", range, units) : fmt::format("{} showed {}", units, range);
  const std::string u = with_uom(figure_words(p.expanded_uncertainty, scale), p.uom);
  std::string sentence;
  if (p.standing == Standing::inside) sentence = fmt::format("{}: among them ({})", what, seen);
  else sentence = fmt::format("{}: outside by more than {} ({}){}", what, u, seen, p.standing == Standing::beyond_wander ? "; how far the meters may be off is not stated" : "");
  // Exchangeable units: the next one is the lowest or the highest of n + 1 with a chance of 2 / (n + 1).
  if (!p.is_tolerance_interval)
    sentence += p.earlier.size() < 2 ? "; one unit tells nothing of how far good ones lie apart" : fmt::format("; of so few, a good unit too falls outside in {:.0f} of 100 cases", 200.0 / static_cast<double>(p.earlier.size() + 1));
  return sentence;
}

}  // namespace

ModelComparison compare_with_model(std::span<const RunFigures* const> earlier, const RunFigures& later) {
  ModelComparison made;
  made.later = label_of(later);
  for (const RunFigures* run : earlier) made.earlier.push_back(label_of(*run));
  for (const PointFigures& now : later.points) {
    const Chosen mine = best_of(now);
    if (is_condition(now.point) || mine.level == nullptr) continue;
    std::vector<const PointFigures*> others{&now};
    std::vector<Chosen> levels;
    std::vector<const RunFigures*> runs;
    for (const RunFigures* run : earlier) {
      const PointFigures* other = run->find(now.point.name);
      if (other == nullptr || other->point.quantity != now.point.quantity || other->point.uom.symbol != now.point.uom.symbol) continue;
      const Chosen chosen = best_of(*other);
      if (chosen.level == nullptr || (now.point.is_temperature() && mine.level->room_celsius && !chosen.level->room_celsius)) continue;
      others.push_back(other);
      levels.push_back(chosen);
      runs.push_back(run);
    }
    if (levels.empty()) continue;
    const bool has_mains = mine.level->mains_volts && std::all_of(levels.begin(), levels.end(), [](const Chosen& c) { return c.level->mains_volts.has_value(); });
    Bringing bringing{now.point, exponent_of(others), has_mains ? mine.level->mains_volts : std::nullopt, now.point.is_temperature() && mine.level->room_celsius.has_value()};
    ModelPoint p;
    const Shown shown = shown_of(now.point);
    p.point = now.point.name;
    p.words = now.words;
    p.role_words = now.role_words;
    p.uom = shown.uom;
    p.later = side_of(later, now, mine, bringing, shown);
    double exponent_most = 0.0;
    for (std::size_t i = 0; i < levels.size(); ++i) {
      const SideFigure side = side_of(*runs[i], *others[i + 1], levels[i], bringing, shown.uom == "mA" ? shown_of(others[i + 1]->point) : shown);
      exponent_most = std::max(exponent_most, exponent_part(side.value, bringing, side.mains_volts));
      p.earlier.push_back(side.value);
    }
    std::sort(p.earlier.begin(), p.earlier.end());
    std::vector<double> copy = p.earlier;
    p.median = analysis::median_in_place(copy);
    const double count = static_cast<double>(p.earlier.size());
    const double mean = std::accumulate(p.earlier.begin(), p.earlier.end(), 0.0) / count;
    double squares = 0.0;
    for (const double value : p.earlier) squares += (value - mean) * (value - mean);
    p.spread = p.earlier.size() > 1 ? std::sqrt(squares / (count - 1.0)) : 0.0;
    p.is_tolerance_interval = p.earlier.size() >= tolerance_units_min;
    const double half_width = p.is_tolerance_interval ? tolerance_factor(p.earlier.size(), tolerance_share, tolerance_confidence) * p.spread : 0.0;
    p.low = p.is_tolerance_interval ? mean - half_width : p.earlier.front();
    p.high = p.is_tolerance_interval ? mean + half_width : p.earlier.back();
    p.expanded_uncertainty = combined({p.later.meter, p.later.wander, exponent_most});
    p.standing = standing_of(p.later.value < p.low - p.expanded_uncertainty || p.later.value > p.high + p.expanded_uncertainty, p.later.is_meter_stated);
    p.conditions = bringing.words();
    p.sentence = model_sentence(p);
    if (p.standing != Standing::inside) made.sentences.push_back(p.sentence);
    made.points.push_back(std::move(p));
  }
  if (made.sentences.empty() && !made.points.empty()) made.sentences.push_back("No point lies outside what good units of this model have shown");
  if (earlier.size() < tolerance_units_min)
    made.remarks.push_back(fmt::format("only {} earlier good unit{}: from {} on an interval is given, with fewer only what was seen", earlier.size(), earlier.size() == 1 ? "" : "s", tolerance_units_min));
  return made;
}

}  // namespace steadyglow::record
