/// The side for whoever buys the unit: what it is, how long it ran, where its figures stood, and what nobody measured.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <chrono>
#include <cmath>

#include "record/dates.hpp"
#include "record/graphs.hpp"
#include "record/plain_words.hpp"
#include "record/sides.hpp"
#include "soak/words.hpp"

namespace steadyglow::record {
namespace {

using profile::Role;
using Tone = Paragraph::Tone;

constexpr std::size_t figures_least = 6;
constexpr std::size_t figures_most = 10;

std::string moment_of(const RunFigures& figures, Timestamp at) {
  const auto ms = utc_from_text(figures.utc(at));
  return ms ? moment_words(*ms) : std::string("an unknown moment");
}

std::string date_of(const RunFigures& figures, Timestamp at) {
  const auto ms = utc_from_text(figures.utc(at));
  return ms ? date_words(*ms) : std::string("an unknown day");
}

/// The figures that a buyer can make something of: some of each kind, at most ten.
std::vector<const PointFigures*> chosen(const RunFigures& figures) {
  struct Quota {
    Role role;
    std::size_t most;
  };
  constexpr std::array<Quota, 14> quotas{{{Role::bias, 4}, {Role::offset, 2}, {Role::supply, 2}, {Role::heatsink, 2}, {Role::transformer, 1}, {Role::mains_power, 1}, {Role::speed, 1},
                              {Role::level, 2}, {Role::supply_current, 2}, {Role::grid_bias, 1}, {Role::heater, 1}, {Role::motor, 1}, {Role::other, 2}, {Role::chassis, 1}}};
  std::vector<const PointFigures*> chosen;
  const auto is_in = [&](const PointFigures* one) { return std::find(chosen.begin(), chosen.end(), one) != chosen.end(); };
  for (const Quota& quota : quotas) {
    std::size_t taken = 0;
    for (const PointFigures& one : figures.points)
      if (one.point.role == quota.role && taken < quota.most && chosen.size() < figures_most && (one.start || one.end || one.last_seen)) chosen.push_back(&one), ++taken;
  }
  for (const PointFigures& one : figures.points)
    if (chosen.size() < figures_least && !is_in(&one)) chosen.push_back(&one);
  std::sort(chosen.begin(), chosen.end(), [](const auto* a, const auto* b) { return a->id < b->id; });
  return chosen;
}

std::string figure_words(const PointFigures& one) {
  if (one.point.is_temperature()) return one.words + " (temperature)";
  return fmt::format("{} ({})", one.words, one.role_words);
}

/// A sentence of the engine with the names of points in words.
std::string in_plain_words(const RunFigures& figures, std::string text) {
  std::vector<const PointFigures*> points;
  for (const PointFigures& one : figures.points) points.push_back(&one);
  std::stable_sort(points.begin(), points.end(), [](const auto* a, const auto* b) { return a->point.name.size() > b->point.name.size(); });
  const auto is_part = [](char c) { return std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '_'; };
  for (const PointFigures* one : points)
    for (std::size_t at = text.find(one->point.name); at != std::string::npos; at = text.find(one->point.name, at + 1)) {
      const std::size_t end = at + one->point.name.size();
      if ((at > 0 && is_part(text[at - 1])) || (end < text.size() && is_part(text[end]))) continue;
      text.replace(at, one->point.name.size(), one->words);
    }
  return text;
}

/// The farthest that a point was outside its warning limits, when an alarm says that it was: the mean of an hour hides a minute.
std::optional<double> worst_outside(const RunFigures& figures, const PointFigures& one) {
  const bool was_alarmed = std::any_of(figures.alarms.begin(), figures.alarms.end(), [&](const soak::AlarmRecord& alarm) {
    return alarm.finding.kind == soak::Kind::limit && !alarm.finding.points.empty() && alarm.finding.points.front() == one.id;
  });
  if (!was_alarmed) return std::nullopt;
  const profile::Band& band = !one.point.warn.empty() ? one.point.warn : one.point.trip;
  std::optional<double> worst;
  double beyond = 0.0;
  const auto take = [&](double value, double by) {
    if (by > beyond) worst = value, beyond = by;
  };
  for (std::size_t i = 0; i < one.minutes.size(); ++i) {
    if (!one.minutes[i].is_seen || !figures.minute_has_power[i]) continue;
    if (band.high) take(one.minutes[i].max, one.minutes[i].max - *band.high);
    // A cold unit stands below: only what was warm can fall.
    if (band.low && one.start && at_ms(static_cast<std::int64_t>(i) * 60'000) > one.start->from) take(one.minutes[i].min, *band.low - one.minutes[i].min);
  }
  return worst;
}

std::string limits_words(const profile::Point& point) {
  if (!point.warn.empty()) return band_words(point, point.warn);
  if (!point.trip.empty()) return band_words(point, point.trip);
  return "no limit set";
}

/// Where it ended, against its limits, as a word: a sign alone would not be read aloud.
std::string standing_words(const RunFigures& figures, const PointFigures& one) {
  const std::optional<Level>& level = one.end ? one.end : one.last_seen;
  const profile::Band& band = !one.point.warn.empty() ? one.point.warn : one.point.trip;
  if (!level || band.empty()) return "–";
  if (const auto worst = worst_outside(figures, one)) return fmt::format("OUTSIDE: {} seen", soak::figure(one.point, *worst));
  const double off = one.expanded_uncertainty.value_or(0.0);
  const bool is_inside = (!band.low || level->mean - off >= *band.low) && (!band.high || level->mean + off <= *band.high);
  const bool is_outside = (band.low && level->mean + off < *band.low) || (band.high && level->mean - off > *band.high);
  if (is_inside) return one.end ? "inside" : "inside, not counted";
  return is_outside ? "OUTSIDE" : "too near to say";
}

Table figures_table(const RunFigures& figures) {
  Table table;
  const bool has_counted = std::any_of(figures.points.begin(), figures.points.end(), [](const PointFigures& one) { return one.end.has_value(); });
  table.columns = {{"Figure", 3.4, false}, {"At the start", 1.4, true}, {has_counted ? "At the end" : "When last seen", 1.5, true}, {"Allowed", 2.0, true}, {"Against its limits", 1.6, false}};
  const auto picked = chosen(figures);
  for (const PointFigures* one : picked)
    table.rows.push_back({figure_words(*one), level_words(one->point, one->start), level_words(one->point, one->end ? one->end : one->last_seen), limits_words(one->point), standing_words(figures, *one)});
  if (figures.points.size() > picked.size()) table.caption = fmt::format("{} of {} figures; all of them are on the sides for the technician.", picked.size(), figures.points.size());
  return table;
}

/// Mains and room at both ends, without which the figures mean little.
std::string conditions_line(const RunFigures& figures) {
  const auto picked = chosen(figures);
  const auto say = [](const Level& level) {
    std::string text;
    if (level.mains_volts) text += fmt::format("mains {:.1f} V", *level.mains_volts);
    if (level.room_celsius) text += fmt::format("{}room {:.1f} °C", text.empty() ? "" : ", ", *level.room_celsius);
    return text;
  };
  const auto with_start = std::find_if(picked.begin(), picked.end(), [](const auto* one) { return one->start.has_value(); });
  const auto with_end = std::find_if(picked.begin(), picked.end(), [](const auto* one) { return one->end.has_value(); });
  std::string text;
  if (with_start != picked.end() && !say(*(*with_start)->start).empty())
    text = fmt::format("Start: mean of {:.0f} min once it had settled ({}). ", minutes_of((*with_start)->start->to - (*with_start)->start->from), say(*(*with_start)->start));
  if (with_end != picked.end() && !say(*(*with_end)->end).empty()) text += fmt::format("End: mean of the last {} min that counted ({}). ", (*with_end)->end->minutes, say(*(*with_end)->end));
  return text;
}

std::string starts_line(const RunFigures& figures) {
  std::string text;
  for (const soak::StartUp& start : figures.start_ups) {
    if (start.is_like_the_first) continue;
    text += fmt::format("{}At {} into the run it started unlike the first time: {}", text.empty() ? "" : " ", run_time_words(start.at), start.text);
  }
  const auto starts = 1 + std::count_if(figures.interruptions.begin(), figures.interruptions.end(), [](const soak::Interruption& gap) { return gap.to.has_value(); });
  if (starts == 1 && text.empty()) return "Switched on once in this run; starting again, cold or warm, was not tried.";
  if (figures.start_ups.empty()) return fmt::format("Switched on {} {} in this run; {}.", starts, starts == 1 ? "time" : "times", starts == 1 ? "starting again, cold or hot, was not tried" : "the starts were not compared");
  const auto like = std::count_if(figures.start_ups.begin(), figures.start_ups.end(), [](const soak::StartUp& start) { return start.is_like_the_first; });
  std::string line = fmt::format("{} {} seen, {} like the first.", figures.start_ups.size(), figures.start_ups.size() == 1 ? "start" : "starts", like);
  return text.empty() ? line : line + " " + text;
}

std::string meters_line(const RunFigures& figures) {
  if (figures.wiring.meters.empty()) return "Meters: this run was recorded without their names.";
  std::string oldest, unstated;
  std::size_t stated = 0;
  for (const Meter& meter : figures.wiring.meters) {
    if (meter.calibrated.empty()) {
      unstated += (unstated.empty() ? "" : ", ") + meter.name;
      continue;
    }
    ++stated;
    if (oldest.empty() || meter.calibrated < oldest) oldest = meter.calibrated;
  }
  std::string text = fmt::format("{} {} read it", figures.wiring.meters.size(), figures.wiring.meters.size() == 1 ? "meter" : "meters");
  const auto when = date_from_text(oldest);
  if (stated > 0 && when) text += fmt::format("; {} last checked on {}{}", stated == 1 ? "one was" : fmt::format("{} were", stated), date_words(*when), stated == 1 ? "" : " or later");
  if (!unstated.empty()) text += fmt::format("; not stated when: {}", unstated);
  return text + ".";
}

void add_touches(const RunFigures& figures, std::vector<std::string>& items) {
  for (const Touch& touch : figures.touches) {
    const profile::Point* point = touch.points.empty() ? nullptr : &figures.profile.point(touch.points.front());
    std::string text = fmt::format("{} at {} into the run: {}", touch.is_part ? "A part was replaced" : "Trimmed", run_time_words(touch.at), touch.control);
    if (touch.before && touch.after) text += point != nullptr ? fmt::format(", from {} to {}", soak::figure(*point, *touch.before), soak::figure(*point, *touch.after)) : fmt::format(", from {:.4g} to {:.4g}", *touch.before, *touch.after);
    if (!touch.why.empty()) text += "; " + touch.why;
    items.push_back(text + fmt::format(" ({}).", touch.who));
  }
}

void add_interruptions(const RunFigures& figures, std::vector<std::string>& items) {
  constexpr std::size_t planned_told = 3;  // of many power cycles the first say enough; all are on the other sides
  std::size_t planned = 0;
  for (const soak::Interruption& gap : figures.interruptions) {
    if (gap.is_planned) {
      if (++planned <= planned_told) items.push_back(fmt::format("Switched off on purpose at {} into the run{}: {}.", run_time_words(gap.from), gap.to ? " for " + span_words(*gap.to - gap.from) : "", gap.why));
      continue;
    }
    items.push_back(gap.to ? fmt::format("Interrupted at {} into the run for {}: {}.", run_time_words(gap.from), span_words(*gap.to - gap.from), gap.why)
                           : fmt::format("Interrupted at {} into the run, and not on again since: {}.", run_time_words(gap.from), gap.why));
  }
}

/// How long points were not seen, the longest first.
void add_gaps(const RunFigures& figures, std::vector<std::string>& items) {
  constexpr std::size_t told = 4;
  std::vector<std::pair<Duration, const PointFigures*>> unseen;
  for (const PointFigures& one : figures.points) {
    Duration sum{};
    for (const Gap& gap : one.gaps) sum += gap.to - gap.from;
    if (sum > Duration{}) unseen.emplace_back(sum, &one);
  }
  if (unseen.empty()) return;
  std::stable_sort(unseen.begin(), unseen.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
  std::string text;
  for (std::size_t i = 0; i < std::min(told, unseen.size()); ++i) text += fmt::format("{}{} for {} ({})", text.empty() ? "" : "; ", unseen[i].second->words, span_words(unseen[i].first), unseen[i].second->gaps.front().why);
  items.push_back("Not read while it was on: " + text + (unseen.size() > told ? fmt::format("; and {} more.", unseen.size() - told) : "."));
}

std::string say_verdict(std::string_view word) {
  if (word == "pass") return "Passed";
  if (word == "pass_with_remarks") return "Passed with remarks";
  return word == "fail" ? "Failed" : "Incomplete";
}

std::string joined(const std::vector<std::string>& texts, const char* between) {
  std::string all;
  for (const std::string& text : texts) all += (all.empty() ? "" : between) + text;
  return all;
}

}  // namespace

std::string level_words(const profile::Point& point, const std::optional<Level>& level) { return level ? soak::figure(point, level->mean) : "–"; }

std::string counted_line(const RunFigures& figures) {
  std::string text = fmt::format("{:.1f} h counted of {:.1f} h with power", hours_of(figures.counted), hours_of(figures.powered));
  std::vector<std::string> gaps;
  Duration off{}, planned_off{};
  std::size_t planned = 0;
  for (const soak::Interruption& gap : figures.interruptions) {
    const Duration span = gap.to.value_or(Timestamp{figures.length}) - gap.from;
    if (gap.is_planned) {
      planned_off += span;
      ++planned;
      continue;
    }
    off += span;
    gaps.push_back(gap.to ? span_words(span) : "not ended");
  }
  if (gaps.empty()) text += planned == 0 ? ", no interruption" : ", no unplanned interruption";
  else if (gaps.size() == 1) text += fmt::format(", 1 interruption ({})", gaps.front());
  else text += fmt::format(", {} interruptions ({} in all)", gaps.size(), span_words(off));
  if (planned > 0) text += fmt::format(", switched off {} ({} in all)", planned == 1 ? "once on purpose" : fmt::format("{} times on purpose", planned), span_words(planned_off));
  return text;
}

std::string verdict_line(const RunFigures& figures) {
  if (figures.signature) return fmt::format("{}. Signed by {} on {}.", say_verdict(figures.signature->word), figures.signature->who, moment_of(figures, figures.signature->at));
  if (!figures.verdict) return "The run is not over: there is no verdict.";
  return fmt::format("{}, as the program proposes it. Nobody has signed.", say_verdict(soak::to_word(figures.verdict->word)));
}

std::vector<Block> buyers_side(const PageInput& input) {
  const RunFigures& figures = *input.figures;
  std::vector<Block> blocks;
  blocks.emplace_back(Heading{1, figures.run.title});
  std::vector<std::string> plate;
  if (!input.card.plate.empty() && input.card.plate != figures.run.title) plate.push_back(input.card.plate);
  plate.push_back(figures.run.serial.empty() ? "no serial number" : "serial number " + figures.run.serial);
  if (!input.card.nameplate.empty()) plate.push_back(input.card.nameplate);
  if (!input.card.stock_number.empty()) plate.push_back("stock number " + input.card.stock_number);

  PhotoBeside intro;
  intro.photo = input.photo;
  intro.paragraphs.push_back({joined(plate, " · "), Tone::plain});
  intro.paragraphs.push_back({fmt::format("Soak test, {} to {}", date_of(figures, Timestamp{}), date_of(figures, figures.ended_at.value_or(Timestamp{figures.length}))), Tone::plain});
  intro.paragraphs.push_back({counted_line(figures), Tone::big});
  intro.paragraphs.push_back({verdict_line(figures), Tone::strong});
  if (figures.verdict && figures.verdict->word != soak::VerdictWord::pass) {
    // The first reason is the count of hours, which stands above.
    for (std::size_t i = 1; i < figures.verdict->reasons.size() && i <= 3; ++i) intro.paragraphs.push_back({in_plain_words(figures, figures.verdict->reasons[i]), Tone::plain});
    if (figures.verdict->reasons.size() > 4) intro.paragraphs.push_back({fmt::format("and {} more, all on the sides for the technician", figures.verdict->reasons.size() - 4), Tone::small});
  }
  if (figures.signature && figures.verdict && figures.signature->word != soak::to_word(figures.verdict->word))
    intro.paragraphs.push_back({fmt::format("The program had proposed: {}.", say_verdict(soak::to_word(figures.verdict->word))), Tone::strong});
  if (figures.signature && !figures.signature->note.empty()) intro.paragraphs.push_back({"Remark of the signer: " + figures.signature->note, Tone::plain});
  blocks.emplace_back(std::move(intro));

  ItemList done;
  done.items = input.card.done;
  if (done.items.empty()) done.items.emplace_back("What was done to it is not on its card.");
  blocks.emplace_back(Heading{2, "What was done"});
  blocks.emplace_back(std::move(done));

  blocks.emplace_back(Heading{2, "What it measured"});
  blocks.emplace_back(figures_table(figures));
  if (std::string line = conditions_line(figures); !line.empty()) blocks.emplace_back(Paragraph{std::move(line), Tone::small});

  const auto points = points_that_matter(figures);
  if (!points.empty()) {
    const PointFigures& first = figures.points[points.front().index];
    std::string title(first.role_words);
    title[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(title[0])));
    blocks.emplace_back(Figure{chart_of(figures, points, title), 135.0, 80.0, false, true});
  }
  if (Chart heat = heat_chart(figures); !heat.traces.empty()) blocks.emplace_back(Figure{std::move(heat), 110.0, 70.0, false, false});

  ItemList notes{{}, true};
  add_interruptions(figures, notes.items);
  add_touches(figures, notes.items);
  add_gaps(figures, notes.items);
  notes.items.push_back(starts_line(figures));
  notes.items.push_back(meters_line(figures));
  for (const std::string& doubt : figures.doubts) notes.items.push_back(in_plain_words(figures, doubt));
  blocks.emplace_back(Heading{2, "What happened on the way"});
  blocks.emplace_back(std::move(notes));

  blocks.emplace_back(Heading{2, "Not measured"});
  blocks.emplace_back(Paragraph{joined(figures.not_measured, " "), Tone::small});
  blocks.emplace_back(Paragraph{"A soak shows that this unit ran; it does not promise a life.", Tone::strong});
  std::string check = input.short_code.empty() ? "These pages are not sealed: nothing proves that they are as they were made."
                                               : fmt::format("Code of the record that these pages belong to: {}. Whoever has its file can check it with: steadyglow verify FILE.", input.short_code);
  if (!input.key_fingerprint.empty()) check += fmt::format(" It is signed with the key {}.", input.key_fingerprint);
  for (const Sister& sister : input.sisters)
    check += fmt::format(" The other half of the pair is {}, serial number {}{}.", sister.title, sister.serial.empty() ? "not stated" : sister.serial, sister.short_code.empty() ? "" : ", code of its record " + sister.short_code);
  blocks.emplace_back(Paragraph{std::move(check), Tone::small});
  return blocks;
}

}  // namespace steadyglow::record
