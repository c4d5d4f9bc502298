/// The sides for the next technician: every point, every stretch, every touch, every meter.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "core/decimal.hpp"
#include "record/dates.hpp"
#include "record/graphs.hpp"
#include "record/plain_words.hpp"
#include "record/sides.hpp"
#include "soak/words.hpp"

namespace steadyglow::record {
namespace {

using Tone = Paragraph::Tone;

std::string with_sign(double value) { return fmt::format("{}{}", value < 0.0 ? "−" : "+", significant(std::fabs(value), 3)); }

std::string level_with_spread(const profile::Point& point, const std::optional<Level>& level) {
  if (!level) return "–";
  return fmt::format("{} ± {}", soak::figure(point, level->mean), significant(level->spread, 2));
}

std::string capital(std::string text) {
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}

std::string stage_words(profile::StageKind kind) {
  std::string text(profile::to_word(kind));
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

std::string point_list(const RunFigures& figures, std::span<const PointId> points) {
  if (points.empty()) return "all";
  std::string text;
  for (const PointId id : points) text += (text.empty() ? "" : ", ") + figures.profile.point(id).name;
  return text;
}

std::string moment(const RunFigures& figures, Timestamp at) {
  const std::string text = figures.utc(at);
  const auto ms = utc_from_text(text);
  return ms ? moment_words(*ms) : "–";
}

class Sides {
 public:
  explicit Sides(const PageInput& input) : input_(input), figures_(*input.figures) {}

  std::vector<Block> make() {
    add(Heading{1, "For the next technician"});
    run();
    verdict();
    levels();
    movement();
    limits();
    thermal();
    wiring();
    way();
    starts();
    alarms();
    happenings();
    card();
    courses();
    clips();
    return std::move(blocks_);
  }

 private:
  void add(Block block) { blocks_.push_back(std::move(block)); }
  void heading(std::string text) { add(Heading{2, std::move(text)}); }
  void table(std::vector<Column> columns, std::vector<std::vector<std::string>> rows, std::string caption = {}) { add(Table{std::move(caption), std::move(columns), std::move(rows), true}); }

  void run() {
    std::vector<std::vector<std::string>> rows;
    const auto row = [&](std::string name, std::string text) { rows.push_back({std::move(name), std::move(text)}); };
    row("Run", fmt::format("{} of unit {}, serial number {}", figures_.run.id, figures_.run.unit, figures_.run.serial.empty() ? "not stated" : figures_.run.serial));
    row("Profile and plan", fmt::format("{} ({}) and {}{}", figures_.run.profile_name, figures_.profile.kind, figures_.run.plan_name, figures_.plan.title.empty() ? "" : " (" + figures_.plan.title + ")"));
    row("Begun", fmt::format("{}, by {}", moment(figures_, Timestamp{}), figures_.run.started_by.empty() ? "nobody named" : figures_.run.started_by));
    row(figures_.ended_at ? "Ended" : "Read up to", moment(figures_, figures_.ended_at.value_or(Timestamp{figures_.length})));
    row("Hours", fmt::format("{:.2f} h recorded, {:.2f} h with power, {:.2f} h counted of {:.2f} h planned", hours_of(figures_.length), hours_of(figures_.powered), hours_of(figures_.counted), hours_of(figures_.planned)));
    row("Attended", figures_.policy.is_unattended ? fmt::format("no, as set by {}", figures_.policy.set_by) : "yes: somebody stayed near it");
    row("Method", "readings kept whole as met; hours count only under conditions and with good readings; the same readings through the same program give these figures again");
    row("Decision rule", figures_.decision_rule);
    if (!input_.short_code.empty()) row("Record", "code " + input_.short_code + (input_.key_fingerprint.empty() ? "" : ", key " + input_.key_fingerprint));
    if (!input_.shop.empty()) row("Made by", input_.shop);
    table({{"Item", 1.0, false}, {"", 5.0, false}}, std::move(rows), "The items follow ISO/IEC 17025:2017, 7.8.2.1, from memory. No accreditation is claimed.");
  }

  void verdict() {
    heading("Verdict");
    add(Paragraph{verdict_line(figures_), Tone::strong});
    if (figures_.verdict) add(ItemList{figures_.verdict->reasons, true});
    if (figures_.signature && figures_.verdict && figures_.signature->word != soak::to_word(figures_.verdict->word))
      add(Paragraph{fmt::format("The program had proposed otherwise. {}", figures_.signature->note.empty() ? "No reason was given." : "Reason: " + figures_.signature->note), Tone::plain});
    if (!figures_.doubts.empty()) add(ItemList{figures_.doubts, true});
  }

  void levels() {
    heading("All points: levels");
    std::vector<std::vector<std::string>> rows;
    for (const PointFigures& one : figures_.points) {
      std::string start = level_with_spread(one.point, one.start);
      if (one.first_start) start += fmt::format("; before it was touched {}", soak::figure(one.point, one.first_start->mean));
      rows.push_back({fmt::format("{}\n{}", one.point.name, one.role_words), start, level_with_spread(one.point, one.end ? one.end : one.last_seen) + (one.end || !one.last_seen ? "" : "; not counted"),
                      one.point.warn.empty() ? "–" : band_words(one.point, one.point.warn), one.point.trip.empty() ? "–" : band_words(one.point, one.point.trip),
                      one.expanded_uncertainty ? "± " + soak::figure(one.point, *one.expanded_uncertainty) : "not stated"});
    }
    table({{"Point", 2.3, false}, {"Start", 1.7, true}, {"End", 1.7, true}, {"Warns unless", 1.5, true}, {"Cut unless", 1.3, true}, {"U (k = 2)", 1.1, true}}, std::move(rows),
          "Start: the baseline after the point was last touched. End: the last hour that counted. ±: standard deviation of the one-minute means. U: what the meter may be off by.");
    conditions();
  }

  void conditions() {
    const auto any = std::find_if(figures_.points.begin(), figures_.points.end(), [](const PointFigures& one) { return one.start && one.end; });
    if (any == figures_.points.end()) return;
    const auto say = [](const Level& level) {
      return fmt::format("mains {}, room {}, draw {}", level.mains_volts ? fmt::format("{:.1f} V", *level.mains_volts) : "not measured", level.room_celsius ? fmt::format("{:.1f} °C", *level.room_celsius) : "not measured",
                         level.watts ? fmt::format("{} W", to_figure(*level.watts, 3)) : "not measured");
    };
    add(Paragraph{fmt::format("While {} took its start figure: {}. Its end figure: {}.", any->point.name, say(*any->start), say(*any->end)), Tone::small});
  }

  void movement() {
    heading("All points: movement, and how much was seen");
    std::vector<std::vector<std::string>> rows;
    for (const PointFigures& one : figures_.points) {
      std::string slope = "–", interval = "–";
      if (one.slope) {
        slope = fmt::format("{} {}/h{}", with_sign(one.slope->per_hour), one.point.is_temperature() ? "K" : one.point.uom.shown, one.slope->is_significant ? " *" : "");
        interval = fmt::format("{} to {}", with_sign(one.slope->low), with_sign(one.slope->high));
      }
      rows.push_back({one.point.name, slope, interval, one.slope ? fmt::format("{:.1f} h", one.slope->hours) : "–", fmt::format("{:.1f} h", hours_of(one.counted)), fmt::format("{:.1f} %", 100.0 * one.share_seen),
                      one.gaps.empty() ? "none" : fmt::format("{}", one.gaps.size())});
    }
    table({{"Point", 2.2, false}, {"Slope", 1.5, true}, {"95 % interval", 1.9, true}, {"over", 0.8, true}, {"Counted", 0.9, true}, {"Seen", 0.9, true}, {"Gaps", 0.7, true}}, std::move(rows),
          "Slope: least squares over the last counted hours since the point was touched (twelve at most), allowed for mains and room; its interval is widened for autocorrelation. *: the interval does not hold zero, and the movement is more than "
          "the meter's last digit. Seen: share of the minutes with power that have a good reading.");
    gaps();
  }

  void gaps() {
    constexpr std::size_t gaps_shown = 60;
    std::vector<std::vector<std::string>> rows;
    std::size_t left_out = 0;
    for (const PointFigures& one : figures_.points)
      for (const Gap& gap : one.gaps) {
        if (rows.size() < gaps_shown) rows.push_back({one.point.name, run_time_words(gap.from), span_words(gap.to - gap.from), gap.why});
        else ++left_out;
      }
    if (rows.empty()) return;
    add(Heading{3, "Gaps"});
    table({{"Point", 2.2, false}, {"At", 1.2, true}, {"For", 1.0, true}, {"Why", 2.5, false}}, std::move(rows), left_out == 0 ? "" : fmt::format("{} more are in the record's readings.", left_out));
  }

  void limits() {
    std::map<std::string, std::vector<std::string>> by_source;
    for (const PointFigures& one : figures_.points)
      if (!one.point.warn.empty() || !one.point.trip.empty()) by_source[one.point.source.empty() ? (figures_.profile.source.empty() ? "not stated" : figures_.profile.source) : one.point.source].push_back(one.point.name);
    if (by_source.empty()) return;
    heading("Where the limits come from");
    std::vector<std::vector<std::string>> rows;
    for (const auto& [source, names] : by_source) {
      std::string list;
      for (const std::string& name : names) list += (list.empty() ? "" : ", ") + name;
      rows.push_back({list, source});
    }
    table({{"Points", 2.0, false}, {"Source", 3.0, false}}, std::move(rows));
  }

  void thermal() {
    std::vector<std::vector<std::string>> rows;
    const auto kelvin = [](const std::optional<double>& value, const char* uom) { return value ? fmt::format("{} {}", significant(*value, 3), uom) : std::string("–"); };
    for (const PointFigures& one : figures_.points) {
      if (!one.thermal) continue;
      const Thermal& t = *one.thermal;
      std::string tau = "not fitted";
      if (t.tau_minutes) tau = fmt::format("{:.0f} min ({:.0f} to {})", *t.tau_minutes, t.tau_least.value_or(*t.tau_minutes), t.tau_most ? fmt::format("{:.0f}", *t.tau_most) : "any");
      rows.push_back({one.point.name, kelvin(t.rise_kelvin, "K"), kelvin(t.start_kelvin_per_watt, "K/W"), kelvin(t.kelvin_per_watt, "K/W"), tau});
    }
    if (rows.empty()) return;
    heading("Heat");
    table({{"Point", 2.2, false}, {"Over the room", 1.2, true}, {"At the start", 1.2, true}, {"At the end", 1.2, true}, {"Time constant (95 %)", 1.8, true}}, std::move(rows),
          "K/W: rise over the room for each watt that the whole unit drew. Time constant: the slowest of the first warm-up, fitted to the rise.");
  }

  void wiring() {
    heading("Meters");
    if (figures_.wiring.meters.empty()) return add(Paragraph{"This run was recorded without the names of its meters.", Tone::plain});
    const std::string begun = figures_.utc(Timestamp{});
    std::vector<std::vector<std::string>> rows;
    for (std::size_t i = 0; i < figures_.wiring.meters.size(); ++i) {
      const Meter& meter = figures_.wiring.meters[i];
      std::string points;
      for (const Wire& wire : figures_.wiring.wires)
        if (wire.meter == i) points += fmt::format("{}{} ({}, {})", points.empty() ? "" : ", ", wire.point, wire.channel, wire.chain.empty() ? "× " + to_figure(wire.factor, 4) : wire.chain);
      const auto text = [](const std::string& stated) { return stated.empty() ? std::string("not stated") : stated; };
      std::string due = text(meter.calibration_due);
      if (!meter.calibration_due.empty() && begun.size() >= 10 && meter.calibration_due < begun.substr(0, 10)) due += ", OVERDUE when the run began";
      std::string name = fmt::format("{}\n{}, {}", meter.name, meter.instrument, meter.where);
      if (!meter.identification.empty()) name += "\n" + meter.identification;
      rows.push_back({name, text(meter.serial), text(meter.calibrated), due, points});
    }
    table({{"Meter", 1.8, false}, {"Serial", 1.0, false}, {"Calibrated", 1.1, false}, {"Due", 1.1, false}, {"Reads", 3.0, false}}, std::move(rows));
    std::map<std::string, std::size_t> from;
    for (const PointFigures& one : figures_.points) ++from[one.uncertainty_from];
    ItemList list{{}, true};
    for (const auto& [text, count] : from) list.items.push_back(fmt::format("Uncertainty of {} {}: {}.", count, count == 1 ? "point" : "points", text));
    add(std::move(list));
  }

  void way() {
    heading("Stages, segments, touches, interruptions");
    std::vector<std::vector<std::string>> rows;
    for (const StageFigures& stage : figures_.stages)
      rows.push_back({capital(stage_words(stage.stage.kind)), span_words(stage.stage.planned), stage.from ? run_time_words(*stage.from) : "not reached", stage.to ? run_time_words(*stage.to) : "–", stage.stage.is_counted ? fmt::format("{:.2f} h", hours_of(stage.counted)) : "does not count"});
    if (!rows.empty()) table({{"Stage", 2.0, false}, {"Planned", 1.0, true}, {"From", 1.2, true}, {"To", 1.2, true}, {"Counted", 1.3, true}}, std::move(rows));
    rows.clear();
    for (const Segment& segment : figures_.segments) rows.push_back({fmt::format("{}", segment.number), run_time_words(segment.from), point_list(figures_, segment.points), segment.who, segment.why});
    if (!rows.empty()) table({{"Segment", 0.8, false}, {"From", 1.0, true}, {"Points", 2.2, false}, {"Who", 1.0, false}, {"Why", 3.0, false}}, std::move(rows), "Each segment has a baseline of its own; the one before is kept.");
    else add(Paragraph{"One segment: nothing was touched, and its supply was not lost.", Tone::small});
    rows.clear();
    for (const Touch& touch : figures_.touches) {
      const auto figure = [&](const std::optional<double>& value) { return !value ? std::string("–") : touch.points.empty() ? to_figure(*value, 4) : soak::figure(figures_.profile.point(touch.points.front()), *value); };
      rows.push_back({fmt::format("{} ({})", touch.control, touch.is_part ? "part replaced" : "trim"), run_time_words(touch.at), point_list(figures_, touch.points), figure(touch.before), figure(touch.after), touch.why.empty() ? touch.who : touch.who + ": " + touch.why});
    }
    if (!rows.empty()) table({{"Touched", 1.8, false}, {"At", 1.0, true}, {"Points", 1.8, false}, {"Before", 1.0, true}, {"After", 1.0, true}, {"Who and why", 2.2, false}}, std::move(rows));
    rows.clear();
    for (const soak::Interruption& gap : figures_.interruptions)
      rows.push_back({gap.is_planned ? "planned" : "interruption", run_time_words(gap.from), gap.to ? span_words(*gap.to - gap.from) : "not ended", gap.why});
    if (!rows.empty()) table({{"Without power or program", 1.4, false}, {"At", 1.0, true}, {"For", 1.0, true}, {"Why", 4.0, false}}, std::move(rows));
  }

  void starts() {
    heading("Starts");
    if (figures_.starts.empty()) return add(Paragraph{"No start was read often enough to be drawn.", Tone::plain});
    for (const StartTrace& start : figures_.starts)
      for (Chart& chart : start_charts(figures_, start)) add(Figure{std::move(chart), 105.0, 90.0, true, false});
    ItemList list{{}, true};
    for (const soak::StartUp& start : figures_.start_ups) list.items.push_back(fmt::format("{}: {}{}", run_time_words(start.at), start.text, start.is_like_the_first ? "" : " (NOT like the first)"));
    list.items.emplace_back("The inrush of a transformer lasts milliseconds; meters that are read once a second do not see it.");
    add(std::move(list));
  }

  void alarms() {
    heading("Alarms, and what was done");
    if (figures_.alarms.empty()) return add(Paragraph{"None.", Tone::plain});
    std::vector<std::vector<std::string>> rows;
    for (const soak::AlarmRecord& alarm : figures_.alarms) {
      std::string done = alarm.acknowledged_by.empty() ? "not acknowledged" : fmt::format("acknowledged by {}", alarm.acknowledged_by);
      if (!alarm.note.empty()) done += ": " + alarm.note;
      rows.push_back({fmt::format("{}", alarm.id), run_time_words(alarm.raised_at), fmt::format("{}, {}", soak::to_word(alarm.finding.kind), soak::to_word(alarm.finding.severity)), alarm.finding.message,
                      alarm.cleared_at ? "over at " + run_time_words(*alarm.cleared_at) : "stands", done});
    }
    table({{"No.", 0.5, false}, {"At", 1.0, true}, {"Kind", 1.1, false}, {"What", 3.6, false}, {"Ended", 1.2, false}, {"Done", 1.8, false}}, std::move(rows));
  }

  void happenings() {
    if (figures_.happenings.empty()) return;
    heading("Everything that was told or done");
    std::vector<std::vector<std::string>> rows;
    for (const Happening& one : figures_.happenings) rows.push_back({run_time_words(one.at), one.who.empty() ? "the program" : one.who, one.text});
    table({{"At", 0.9, false}, {"Who", 1.0, false}, {"What", 6.0, false}}, std::move(rows), figures_.happenings_left_out == 0 ? "" : fmt::format("{} more are in the record's events.", figures_.happenings_left_out));
  }

  void card() {
    const auto list = [&](const char* title, const std::vector<std::string>& items) {
      if (items.empty()) return;
      heading(title);
      add(ItemList{items, true});
    };
    list("Faults that it came with", input_.card.faults);
    list("Tubes", input_.card.tubes);
    if (input_.card.safety.empty()) heading("Tests of electrical safety"), add(Paragraph{"None is on the card of this unit.", Tone::plain});
    else list("Tests of electrical safety", input_.card.safety);
    add(Paragraph{"Before it is opened: pull the plug, let the supplies discharge, and measure that they have. Voltages inside can kill long after switching off; work on them belongs to qualified people under the local electrical code.", Tone::small});
  }

  /// Every point for itself, two in a row.
  void courses() {
    heading("Every point over the run");
    for (const PointFigures& one : figures_.points) {
      const std::array<PointId, 1> point{one.id};
      add(Figure{chart_of(figures_, point, one.words), 88.0, 80.0, true, false});
    }
  }

  void clips() {
    if (input_.clips.empty()) return;
    heading("Where the clips sat");
    add(PhotoRow{input_.clips});
  }

  const PageInput& input_;
  const RunFigures& figures_;
  std::vector<Block> blocks_;
};

}  // namespace

std::vector<Block> technicians_sides(const PageInput& input) { return Sides(input).make(); }

Pages pages_of(const PageInput& input) {
  const RunFigures& figures = *input.figures;
  Pages pages;
  const std::string serial = figures.run.serial.empty() ? "" : ", serial number " + figures.run.serial;
  pages.title = fmt::format("Soak test of {}{}", figures.run.title, serial);
  pages.subject = fmt::format("{}. {}", counted_line(figures), verdict_line(figures));
  pages.author = figures.signature ? figures.signature->who : input.shop;
  pages.keywords = fmt::format("soak test, {}, {}, run {}", figures.profile.kind, figures.run.unit, figures.run.id);
  pages.made_utc = figures.utc(Timestamp{figures.ended_at.value_or(Timestamp{figures.length})});
  pages.foot = fmt::format("{}{} · run {}{}", figures.run.title, figures.run.serial.empty() ? "" : " · " + figures.run.serial, figures.run.id, input.short_code.empty() ? "" : " · record " + input.short_code);
  if (figures.wiring.clock_rate != 1.0) pages.warning = fmt::format("DEMONSTRATION: the clock of this run went {:g} times too fast. This is no record of a unit.", figures.wiring.clock_rate);
  pages.buyer = buyers_side(input);
  pages.technician = technicians_sides(input);
  return pages;
}

}  // namespace steadyglow::record
