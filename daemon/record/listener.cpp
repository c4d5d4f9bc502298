#include "record/listener.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <variant>

#include "record/plain_words.hpp"
#include "soak/act.hpp"
#include "soak/words.hpp"

namespace steadyglow::record {
namespace {

using profile::Role;

/// More lines in one start are a tangle; more readings of one of them are a meter read too often.
constexpr std::size_t start_lines_max = 12;
constexpr std::size_t start_readings_max = 4096;

std::int64_t minute_of(Timestamp at) { return ms_of(at) / 60'000; }

/// What a start shows: first what the unit draws, then what follows from it.
std::vector<std::size_t> lines_of_a_start(const profile::Profile& profile) {
  std::vector<std::size_t> lines;
  const auto add = [&](Role role) {
    for (std::size_t i = 0; i < profile.points.size() && lines.size() < start_lines_max; ++i)
      if (profile.points[i].role == role) lines.push_back(i);
  };
  for (const Role role : {Role::mains_power, Role::bias, Role::supply, Role::mains_current, Role::supply_current, Role::grid_bias, Role::heater}) add(role);
  return lines;
}

/// What a person did, in words; empty when it is told elsewhere.
std::string deed_words(const soak::Act& act, const profile::Profile& profile) {
  const auto with_why = [&](std::string text) { return act.why.empty() ? text : text + ": " + act.why; };
  const auto figure_of = [&](double value) {
    const auto point = act.points.empty() ? std::nullopt : profile.find(act.points.front());
    return point ? soak::figure(profile.point(*point), value) : fmt::format("{}", value);
  };
  switch (act.kind) {
    case soak::ActKind::acknowledge: return with_why(fmt::format("acknowledged alarm {}", act.alarm));
    case soak::ActKind::reset: return with_why(fmt::format("reset alarm {}", act.alarm));
    case soak::ActKind::shelve: return with_why(fmt::format("put alarm {} aside for {:.0f} min", act.alarm, act.minutes));
    case soak::ActKind::unshelve: return with_why(fmt::format("took alarm {} back", act.alarm));
    case soak::ActKind::out_of_service: return with_why(fmt::format("took alarm {} out of service", act.alarm));
    case soak::ActKind::into_service: return with_why(fmt::format("put alarm {} into service", act.alarm));
    case soak::ActKind::stop: return with_why("stopped the run");
    case soak::ActKind::pause: return with_why("switched it off; the run waits");
    case soak::ActKind::go_on: return with_why("let it go on");
    case soak::ActKind::touch: {
      std::string text = "trimmed " + act.control;
      if (act.before && act.after) text += fmt::format(" from {} to {}", figure_of(*act.before), figure_of(*act.after));
      return with_why(text);
    }
    case soak::ActKind::replace_part: return with_why("replaced " + act.control);
    case soak::ActKind::move: return with_why("moved it to " + act.bench);
    case soak::ActKind::remark: return "remarked: " + act.why;
    case soak::ActKind::leave: return with_why("changed what may happen while nobody is there");
    case soak::ActKind::sign: return {};
    case soak::ActKind::resume: return "took the run up again: " + act.why;
    case soak::ActKind::relay_open: return "found its relay open: " + act.why;
    case soak::ActKind::bench_opened: return "its bench was opened: " + act.why;
    case soak::ActKind::supply_steady: return {};
  }
  return {};
}

}  // namespace

Listener::Listener(const profile::Profile& profile, RunFigures& figures)
    : profile_(&profile), figures_(&figures), minutes_(profile.points.size()), series_(profile.points.size()), baselines_(profile.points.size()),
      powers_{{Timestamp{}, true}}, start_lines_(lines_of_a_start(profile)) {
  figures_->stages.resize(figures_->plan.stages.size());
  for (std::size_t i = 0; i < figures_->plan.stages.size(); ++i) figures_->stages[i].stage = figures_->plan.stages[i];
  if (!figures_->stages.empty()) figures_->stages.front().from = Timestamp{};
  begin_start(Timestamp{});
}

void Listener::say(Happening happening) {
  if (figures_->happenings.size() < happenings_max) figures_->happenings.push_back(std::move(happening));
  else ++figures_->happenings_left_out;
}

void Listener::begin_start(Timestamp at) {
  StartTrace trace;
  trace.at = at;
  trace.is_first = ms_of(at) == 0;
  if (off_since_) trace.off_for = at - *off_since_;
  for (const std::size_t point : start_lines_) trace.lines.push_back({PointId{static_cast<std::uint16_t>(point)}, {}, {}});
  // The first is kept, and the newest.
  if (start_) {
    if (figures_->starts.size() == 2) figures_->starts.pop_back();
    figures_->starts.push_back(std::move(*start_));
  }
  start_ = std::move(trace);
}

void Listener::take_start(const Reading& reading) {
  if (!start_ || reading.at() - start_->at > start_trace_length || reading.at() < start_->at) return;
  for (std::size_t i = 0; i < start_lines_.size(); ++i) {
    StartTrace::Line& line = start_->lines[i];
    if (start_lines_[i] != reading.point().index || line.values.size() >= start_readings_max) continue;
    line.seconds.push_back(static_cast<float>(seconds_of(reading.at() - start_->at)));
    line.values.push_back(static_cast<float>(reading.value()));
  }
}

void Listener::take(const Reading& reading, const soak::Engine& engine) {
  const std::size_t point = reading.point().index;
  if (point >= minutes_.size() || ms_of(reading.at()) < 0) return;
  const auto minute = static_cast<std::size_t>(minute_of(reading.at()));
  if (minute >= run_minutes_max) {
    is_cut_short_ = true;
    return;
  }
  auto& minutes = minutes_[point];
  if (minutes.size() <= minute) minutes.resize(minute + 1);
  MinuteSum& sum = minutes[minute];
  if (!reading.is_good() || engine.points()[point].is_contact_lost()) {
    sum.trouble = reading.is_good() ? trouble_contact : static_cast<std::uint8_t>(reading.quality());
    return;
  }
  // What is off reads nothing, and says nothing of what it read in the same minute while it was on; what was warm cools, and is kept.
  if (!powers_.back().is_on && !profile_->points[point].is_temperature()) return;
  const double value = reading.value();
  sum.min = sum.count == 0 ? value : std::min(sum.min, value);
  sum.max = sum.count == 0 ? value : std::max(sum.max, value);
  sum.sum += value;
  ++sum.count;
  take_start(reading);
}

void Listener::note_counted(Timestamp at, Duration counted) {
  auto& counts = figures_->minute_counts;
  if (counted > counted_) {
    // Seconds that end exactly at a minute belong to the minute before.
    const auto minute = static_cast<std::size_t>(std::max<std::int64_t>(0, ms_of(at) - 1) / 60'000);
    if (minute < run_minutes_max) {
      if (counts.size() <= minute) counts.resize(minute + 1, false);
      counts[minute] = true;
    }
  } else if (counted < counted_ && counted == Duration{}) {
    std::fill(counts.begin(), counts.end(), false);  // a part was replaced: no hour counts any more
  }
  counted_ = counted;
}

void Listener::note_minute(const soak::Engine& engine) {
  for (std::size_t i = 0; i < engine.points().size(); ++i) {
    const soak::PointWatch& watch = engine.points()[i];
    while (baselines_[i].size() < watch.baselines().size()) baselines_[i].push_back({watch.baselines()[baselines_[i].size()].at, engine.stages().baseline()});
    if (watch.series().empty()) continue;
    auto& series = series_[i];
    const std::int64_t last = series.empty() ? -1 : series.back().index;
    std::size_t fresh = 0;
    for (auto it = watch.series().rbegin(); it != watch.series().rend() && it->index > last; ++it) ++fresh;
    if (series.size() + fresh > run_minutes_max) continue;
    for (auto it = watch.series().end() - static_cast<std::ptrdiff_t>(fresh); it != watch.series().end(); ++it) series.push_back(*it);
  }
}

void Listener::note_act(const store::InputRow& input, Duration counted) {
  const auto act = soak::act_from_json(input.kind, input.json);
  if (!act) return;
  if (act->kind == soak::ActKind::touch || act->kind == soak::ActKind::replace_part) {
    Touch touch{input.at, counted, act->kind == soak::ActKind::replace_part, act->who, act->why, act->control, {}, act->before, act->after};
    for (const std::string& name : act->points)
      if (const auto point = profile_->find(name)) touch.points.push_back(*point);
    figures_->touches.push_back(std::move(touch));
  }
  if (std::string text = deed_words(*act, *profile_); !text.empty()) say({input.at, Happening::Kind::deed, soak::Severity::note, act->who, std::move(text)});
}

void Listener::note_stage(const soak::StageChange& change, Duration counted) {
  if (change.stage == stage_) return;
  auto& stages = figures_->stages;
  if (stage_ < stages.size()) {
    stages[stage_].to = change.at;
    stages[stage_].counted = std::max(Duration{}, counted - counted_at_stage_);
  }
  stage_ = change.stage;
  counted_at_stage_ = counted;
  if (stage_ >= stages.size()) return;
  stages[stage_] = {stages[stage_].stage, change.at, {}, {}};
  // A part was replaced: the plan begins again.
  for (std::size_t i = stage_ + 1; i < stages.size(); ++i) stages[i] = {stages[i].stage, {}, {}, {}};
}

void Listener::hear(const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine& engine) {
  const Duration counted = engine.stages().counted();
  if (input.readings.empty()) note_act(input, counted);
  struct Noter {
    Listener& self;
    Duration counted;
    void order(Timestamp at, std::string text) const { self.say({at, Happening::Kind::order, soak::Severity::trip, {}, std::move(text)}); }
    void operator()(const soak::OpenOutlet& e) const { order(e.at, (e.attempt > 1 ? "ordered off again: " : e.is_trip ? "cut: " : "switched off: ") + e.reason); }
    void operator()(const soak::OpenBench& e) const { order(e.at, "opened the bench contactor: " + e.reason); }
    void operator()(const soak::CloseOutlet& e) const {
      self.begin_start(e.at);
      order(e.at, fmt::format("switched on for {}: {}", e.who, e.reason));
    }
    void operator()(const soak::SwitchOnDue&) const {}
    void operator()(const soak::BleedDown& e) const { self.say({e.at, Happening::Kind::finding, soak::Severity::note, {}, e.text}); }
    void operator()(const soak::SegmentChange& e) const { self.figures_->segments.push_back({e.number, e.at, e.points, e.who, e.why}); }
    void operator()(const soak::StageChange& e) const { self.note_stage(e, counted); }
    void operator()(const soak::StartUp& e) const {
      self.figures_->start_ups.push_back(e);
      self.say({e.at, Happening::Kind::start, soak::Severity::note, {}, e.text});
    }
    void operator()(const soak::Finding& e) const { self.say({e.at, Happening::Kind::finding, e.severity, {}, (e.is_raised ? "" : "over: ") + e.message}); }
    void operator()(const soak::AlarmRecord&) const {}
    void operator()(const soak::Verdict& e) const { self.figures_->ended_at = e.at; }
    void operator()(const soak::Signature&) const {}
  };
  for (const soak::Event& event : events) std::visit(Noter{*this, counted}, event);
  for (const Reading& reading : input.readings) take(reading, engine);
  note_counted(input.at, counted);
  const bool is_on = engine.power() == soak::Power::on;
  if (is_on != powers_.back().is_on) {
    powers_.push_back({input.at, is_on});
    off_since_ = is_on ? std::nullopt : std::optional(input.at);
  }
  if (minute_of(input.at) > minute_) {
    minute_ = minute_of(input.at);
    note_minute(engine);
  }
}

void Listener::end(const soak::Engine& engine, Timestamp last) {
  note_minute(engine);
  if (start_) {
    if (figures_->starts.size() == 2) figures_->starts.pop_back();
    figures_->starts.push_back(std::move(*start_));
    start_.reset();
  }
  // What was switched on and off again before anything was read shows nothing.
  std::erase_if(figures_->starts, [](StartTrace& start) {
    std::erase_if(start.lines, [](const StartTrace::Line& line) { return line.values.size() < 2; });
    return start.lines.empty();
  });
  auto& stages = figures_->stages;
  if (stage_ < stages.size()) stages[stage_].counted = std::max(Duration{}, engine.stages().counted() - counted_at_stage_);

  const std::size_t count = std::min(run_minutes_max, static_cast<std::size_t>((ms_of(last) + 59'999) / 60'000));
  figures_->minute_counts.resize(count, false);
  auto& has_power = figures_->minute_has_power;
  has_power.assign(count, false);
  const auto mark = [&](Timestamp from, Timestamp to, bool value) {
    // A minute with any power is one with power.
    const auto first = static_cast<std::size_t>(ms_of(from) / 60'000), end = static_cast<std::size_t>((ms_of(to) + 59'999) / 60'000);
    for (std::size_t i = first; i < std::min(end, count); ++i) has_power[i] = value;
  };
  for (std::size_t i = 0; i < powers_.size(); ++i) {
    const Timestamp to = i + 1 < powers_.size() ? powers_[i + 1].at : last;
    if (powers_[i].is_on) mark(powers_[i].at, to, true), figures_->powered += to - powers_[i].at;
  }
  for (const soak::Interruption& gap : engine.interruptions()) {
    const auto first = static_cast<std::size_t>((ms_of(gap.from) + 59'999) / 60'000), end = gap.to ? static_cast<std::size_t>(ms_of(*gap.to) / 60'000) : count;
    for (std::size_t i = first; i < std::min(end, count); ++i) has_power[i] = false;
  }
}

}  // namespace steadyglow::record
