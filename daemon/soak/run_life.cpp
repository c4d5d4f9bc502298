/// What somebody does to a run: off and on again, a screwdriver, a part, an alarm put aside, a signature.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/trend.hpp"
#include "soak/engine.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

/// Off for no longer than this is a pause; longer, and the whole warm-up comes again: the shop's rule, no source.
constexpr Duration short_loss = std::chrono::minutes{10};
constexpr Duration short_warm_up_least = std::chrono::minutes{10};
constexpr Duration short_baseline = std::chrono::minutes{10};
/// A trim of more than this share of the old figure, or a second one of the same control, restarts the point's hours.
constexpr double large_trim_share = 0.10;
/// After a trim a point settles for so long before its new baseline, uncounted: the shop's rule, no source.
constexpr Duration trim_settles = std::chrono::minutes{60};
constexpr Duration trim_settles_most = std::chrono::hours{4};
constexpr Duration trim_baseline = std::chrono::minutes{30};
/// Hours after the last touch of a screwdriver: the shop's rule, no source.
constexpr Duration tail_of_tubes = std::chrono::hours{24};
constexpr Duration tail_of_others = std::chrono::hours{12};

/// Of the target, or of the old figure where the profile names none.
bool is_large_trim(const profile::Point& point, double before, double after) {
  return std::fabs(after - before) > large_trim_share * std::fabs(point.nominal.value_or(before));
}

/// A slope that meets a limit within thirty days of three hours is no pass without a word: the shop's rule, no source.
constexpr double hours_of_use = 90.0;
constexpr double slope_hours_least = 3.0;

Result<void> not_now(std::string why, std::string hint = {}) { return fail(Fault::usage, std::move(why), std::move(hint)); }

}  // namespace

std::string_view to_word(Power power) {
  switch (power) {
    case Power::on: return "on";
    case Power::off_by_plan: return "off_by_plan";
    case Power::off_by_person: return "off_by_person";
    case Power::tripped: return "tripped";
    case Power::paused: return "paused";
    case Power::lost: return "lost";
    case Power::bench_open: break;
  }
  return "bench_open";
}

// ---- may it be done? -------------------------------------------------------------------------------------------

Result<void> Engine::why_not(const Act& act) const {
  const auto unknown_point = std::find_if(act.points.begin(), act.points.end(), [&](const std::string& name) { return !profile_.find(name); });
  if (unknown_point != act.points.end()) return fail(Fault::usage, "the profile has no point `" + *unknown_point + "`");
  const AlarmRecord* alarm = act.alarm != 0 ? book_.find(act.alarm) : nullptr;
  switch (act.kind) {
    case ActKind::acknowledge:
    case ActKind::reset:
    case ActKind::shelve:
    case ActKind::unshelve:
    case ActKind::out_of_service:
    case ActKind::into_service: {
      if (alarm == nullptr) return not_now(fmt::format("there is no alarm {}", act.alarm));
      const alarm::Action actions[] = {alarm::Action::acknowledge, alarm::Action::reset, alarm::Action::shelve, alarm::Action::unshelve, alarm::Action::remove_from_service, alarm::Action::return_to_service};
      const alarm::Alarm after = alarm::step(alarm->alarm, actions[static_cast<std::size_t>(act.kind)], now_);
      if (after.state == alarm->alarm.state) return not_now(fmt::format("this alarm is {} and cannot be changed so", alarm::to_word(alarm->alarm.state)));
      return {};
    }
    case ActKind::pause:
      if (is_cycling_ || is_turn_awaited_) return {};  // it would be switched on again: a person may want that it waits
      if (power_ != Power::on) return not_now("the unit is not on");
      return {};
    case ActKind::go_on:
      if (!is_waiting(power_)) return not_now(power_ == Power::on ? "the unit is on" : "this run is over", power_ == Power::on ? "" : "start a new one");
      if (off_.state() == OffWatch::State::failed) return not_now("it was ordered off and still draws power", "unplug it, and have the relay looked at by a qualified person");
      return {};
    case ActKind::replace_part:
    case ActKind::move:
      if (is_over()) return not_now("this run is over", "start a new one");
      if (power_ == Power::on) return not_now("the unit is on", "pause it, pull its plug and let its supplies discharge; what was done is said before it goes on");
      return {};
    case ActKind::touch:
    case ActKind::leave:
      if (is_over()) return not_now("this run is over", "start a new one");
      return {};
    case ActKind::sign:
      if (!verdict_) return not_now("there is no verdict to sign yet");
      return {};
    default: return {};
  }
}

std::span<const Event> Engine::act(Timestamp at, const Act& act) {
  if (act.kind == ActKind::resume) return resume(at, act.why);
  begin_call(std::max(now_, at));
  if (why_not(act)) perform(act);
  return events_;
}

std::span<const Event> Engine::acknowledge(Timestamp at, std::int64_t alarm, const std::string& who, const std::string& note) {
  Act act;
  act.kind = ActKind::acknowledge;
  act.who = who;
  act.why = note;
  act.alarm = alarm;
  return this->act(at, act);
}

std::span<const Event> Engine::stop(Timestamp at, const std::string& who, const std::string& why) {
  Act act;
  act.kind = ActKind::stop;
  act.who = who;
  act.why = why;
  return this->act(at, act);
}

void Engine::perform(const Act& act) {
  const auto with_why = [&](std::string text) { return act.why.empty() ? text : text + ": " + act.why; };
  switch (act.kind) {
    case ActKind::stop: return stop_by(act);
    case ActKind::pause: return interrupt(now_, Power::paused, with_why(act.who + " paused it"), true);
    case ActKind::go_on: return go_on(act);
    case ActKind::touch: return touch(act);
    case ActKind::replace_part: return replace_part(act);
    case ActKind::move: return say_segment({}, act.who, with_why("moved to " + act.bench));
    case ActKind::remark: return say_stage(now_, act.who + " remarks: " + act.why);
    case ActKind::leave:
      if (const auto policy = policy_from_json(act.policy)) policy_ = *policy;
      return say_stage(now_, act.who + (policy_.is_unattended ? " leaves it unattended" : " stays near it"));
    case ActKind::sign:
      signature_ = Signature{now_, act.who, act.word, act.why};
      events_.emplace_back(*signature_);
      return;
    case ActKind::relay_open:
      if (power_ == Power::on) interrupt(now_, Power::lost, act.why, false);
      return;
    case ActKind::bench_opened:
      if (power_ == Power::on) interrupt(now_, Power::bench_open, act.why, false);
      return;
    case ActKind::supply_steady: {
      const bool may = power_ == Power::lost && policy_.after_mains == AfterMains::staged && was_healthy_ && !is_turn_awaited_;
      if (!may) return;
      is_turn_awaited_ = true;
      events_.emplace_back(SwitchOnDue{now_, policy_.set_by, "the mains are steady again, and " + policy_.set_by + " wants it on again after a loss of supply"});
      return;
    }
    default: return perform_on_alarm(act);
  }
}

void Engine::perform_on_alarm(const Act& act) {
  switch (act.kind) {
    case ActKind::acknowledge: book_.acknowledge(act.alarm, act.who, act.why, now_); return;
    case ActKind::reset: return book_.change(act.alarm, alarm::Action::reset, act.who, act.why, now_);
    case ActKind::unshelve: return book_.change(act.alarm, alarm::Action::unshelve, act.who, act.why, now_);
    case ActKind::out_of_service: return book_.change(act.alarm, alarm::Action::remove_from_service, act.who, act.why, now_);
    case ActKind::into_service: return book_.change(act.alarm, alarm::Action::return_to_service, act.who, act.why, now_);
    case ActKind::shelve: return book_.shelve(act.alarm, now_ + Duration{std::llround(act.minutes * 60000.0)}, act.who, act.why, now_);
    default: return;
  }
}

// ---- off and on again ------------------------------------------------------------------------------------------

void Engine::begin_interruption(Timestamp at, std::string why, bool is_planned) {
  end_interruption(at);
  // It drew nothing since the last one ended: the daemon came back into the same dark, and it is one interruption.
  if (!is_planned && !interruptions_.empty() && !interruptions_.back().is_planned && drew_at_ && *drew_at_ < *interruptions_.back().to) {
    interruptions_.back().to.reset();
    interruptions_.back().why += "; " + why;
    return;
  }
  interruptions_.push_back({at, std::nullopt, std::move(why), is_planned});
}

void Engine::end_interruption(Timestamp at) {
  if (!interruptions_.empty() && !interruptions_.back().to) interruptions_.back().to = at;
}

/// Is nothing said against the unit itself?
bool Engine::is_healthy() const {
  const auto standing = book_.standing();
  return std::none_of(standing.begin(), standing.end(), [](const Finding* finding) {
    return finding->severity != Severity::note && finding->kind != Kind::mains && finding->kind != Kind::no_data && finding->kind != Kind::sensor;
  });
}

void Engine::interrupt(Timestamp at, Power power, std::string reason, bool is_planned) {
  if (power_ == Power::on) was_healthy_ = is_healthy();
  is_turn_awaited_ = false;
  is_cycling_ = false;
  is_check_awaited_ = false;
  unconfirmed_ = {};
  begin_interruption(at, reason, is_planned);
  open_outlet(at, power, std::move(reason));
}

void Engine::stop_by(const Act& act) {
  const std::string reason = fmt::format("{} ordered it off: {}", act.who, act.why.empty() ? "no reason given" : act.why);
  if (!is_over()) open_outlet(now_, Power::off_by_person, reason);
}

void Engine::go_on(const Act& act) {
  const Timestamp off_since = interruptions_.empty() ? now_ : interruptions_.back().from;
  const Duration off_for = now_ - off_since;
  end_interruption(now_);
  power_ = Power::on;
  off_.clear();
  off_text_.clear();
  bleed_text_.clear();
  bleeding_.clear();
  last_input_at_.reset();
  unconfirmed_ = {};
  watched_from_ = now_;
  mains_.forget();
  draws_no_power_ = false;
  is_turn_awaited_ = false;
  switched_on_at_ = now_;
  has_mains_since_on_ = false;
  has_run_since_on_ = false;
  start_watch_.begin(now_);
  is_start_of_cycle_ = is_cycling_ && cycle_since_ && now_ - *cycle_since_ >= stages_.current()->off;
  cycle_since_.reset();
  is_cycling_ = false;
  is_check_awaited_ = false;
  std::fill(is_bad_.begin(), is_bad_.end(), false);
  const bool is_as_it_was = off_for <= short_loss && !is_part_new_;
  is_part_new_ = false;
  if (is_as_it_was) begin_segment(now_, std::min(stages_.warm_up(), std::max(short_warm_up_least, 2 * off_for)), std::min(stages_.baseline(), short_baseline));
  else begin_segment(now_);
  say_segment({}, act.who, fmt::format("on again after {}", span_text(off_for)));
  say_stage(now_, is_as_it_was ? "counts again when it has settled" : "warms up again, uncounted");
  events_.emplace_back(CloseOutlet{now_, act.who, act.why.empty() ? "goes on" : act.why});
}

// ---- a screwdriver, a part -------------------------------------------------------------------------------------

void Engine::say_segment(std::vector<PointId> points, const std::string& who, std::string why) {
  SegmentChange segment{now_, static_cast<int>(segments_.size()) + 1, std::move(points), who, std::move(why)};
  segments_.push_back(segment);
  events_.emplace_back(std::move(segment));
}

Duration Engine::tail_needed() const {
  const Duration planned = stages_.plan().counted_planned();
  if (needs_whole_tail_) return planned;
  const bool is_hot = profile_.kind.find("tube") != std::string::npos || profile_.kind.find("triode") != std::string::npos || profile_.kind.find("class-a") == 0;
  return std::min(planned, is_hot ? tail_of_tubes : tail_of_others);
}

void Engine::touch(const Act& act) {
  std::vector<PointId> points;
  for (const std::string& name : act.points) points.push_back(*profile_.find(name));
  const profile::Point& first = profile_.point(points.front());
  const bool is_large = act.before && act.after && is_large_trim(first, *act.before, *act.after);
  const bool is_second = std::find(touched_controls_.begin(), touched_controls_.end(), act.control) != touched_controls_.end();
  touched_controls_.push_back(act.control);
  needs_whole_tail_ = needs_whole_tail_ || is_large || is_second;
  last_touch_ = stages_.counted();
  for (const PointId id : points) {
    points_[id.index].begin_segment();
    departures_.restart(id, analysis::minute_of(now_));
    counted_at_touch_[id.index] = stages_.counted();
    touched_at_[id.index] = now_;
    is_settling_again_[id.index] = stages_.phase() == Phase::judging;
    has_figures_[id.index] = act.before && act.after;
    for (const Kind kind : {Kind::drift, Kind::step, Kind::imbalance, Kind::rise, Kind::runaway, Kind::limit})
      for (const Aspect aspect : {Aspect::reading, Aspect::dissipation}) book_.clear(kind, id, now_, act.control + " was turned; it is judged afresh", aspect);
  }
  for (DissipationWatch& dissipation : dissipations_)
    if (std::find(points.begin(), points.end(), dissipation.bias()) != points.end()) dissipation.clear();
  std::string text = act.who + " turned " + act.control;
  if (act.before && act.after) text += fmt::format(", {} to {} ({:+.1f} %)", figure(first, *act.before), figure(first, *act.after), 100.0 * (*act.after / *act.before - 1.0));
  if (!act.why.empty()) text += ": " + act.why;
  if (is_large || is_second) text += is_second ? "; a second trim of the same control: its hours begin again" : "; more than 10 %: its hours begin again";
  say_segment(std::move(points), act.who, std::move(text));
}

/// What a screwdriver moved settles, gets its own baseline, and counts from there; the others go on.
void Engine::settle_again(Timestamp now) {
  for (PointWatch& point : points_) {
    const std::size_t index = point.id().index;
    if (!is_settling_again_[index]) continue;
    const Duration since = now - *touched_at_[index];
    const bool is_settled = point.settling.state == analysis::SettlingState::settled || !holds_up_the_warm_up(point);
    const bool is_due = since >= trim_settles_most || (since >= trim_settles && is_settled);
    counted_at_touch_[index] = stages_.counted();
    last_touch_ = stages_.counted();
    if (!is_due) continue;
    is_settling_again_[index] = false;
    point.freeze_baseline(now, stages_.segment(), trim_baseline);
    // Nobody typed by how much: the two baselines say it.
    const auto& baselines = point.baselines();
    if (has_figures_[index] || baselines.size() < 2 || !is_large_trim(point.point(), baselines[baselines.size() - 2].raw_level, baselines.back().raw_level)) continue;
    needs_whole_tail_ = true;
    say_stage(now, fmt::format("{} was trimmed by more than 10 %: {} before, {} now; its hours begin again", point.point().name, figure(point.point(), baselines[baselines.size() - 2].raw_level),
                               figure(point.point(), baselines.back().raw_level)));
  }
}

void Engine::replace_part(const Act& act) {
  is_part_new_ = true;
  std::vector<PointId> points;
  for (const std::string& name : act.points) points.push_back(*profile_.find(name));
  stages_.restart();
  begin_segment(now_);
  std::fill(counted_at_touch_.begin(), counted_at_touch_.end(), Duration{});
  std::fill(touched_at_.begin(), touched_at_.end(), now_);
  std::fill(is_settling_again_.begin(), is_settling_again_.end(), false);
  cycles_done_ = 0;
  cycle_since_.reset();
  is_cycling_ = false;
  last_touch_ = Duration{};
  needs_whole_tail_ = true;
  touched_controls_.clear();
  say_segment(std::move(points), act.who, act.who + " replaced " + act.control + (act.why.empty() ? "" : ": " + act.why) + "; the unit starts its hours again");
}

Remarks Engine::remarks() const {
  Remarks remarks;
  for (const Interruption& interruption : interruptions_) remarks.unplanned_interruptions += interruption.is_planned ? 0 : 1;
  remarks.unseen_share = watched_ > Duration{} ? seconds_of(unseen_) / seconds_of(watched_) : 0.0;
  if (last_touch_ && stages_.counted() - *last_touch_ < tail_needed())
    remarks.touched = fmt::format("{:.1f} h counted since it was last touched, {:.1f} h are wanted", hours_of(stages_.counted() - *last_touch_), hours_of(tail_needed()));
  if (!check_remark_.empty()) remarks.others.push_back(check_remark_);
  for (const PointWatch& watch : points_) {
    const profile::Point& point = watch.point();
    if (!watch.trend || !watch.trend->is_significant || watch.trend->horizon_hours < slope_hours_least || !watch.last_good() || point.is_mains() || point.role == profile::Role::ambient) continue;
    const double raw = watch.recent_raw_level(std::chrono::minutes{15}).value_or(*watch.last_good());
    const auto ahead = analysis::limit_ahead(point, raw, watch.trend->fit.slope);
    const auto hours = ahead ? analysis::hours_to_limit(raw, ahead->limit, watch.trend->fit) : std::nullopt;
    if (!hours || hours->likely > hours_of_use) continue;
    remarks.others.push_back(fmt::format("{} still goes {:+.2g} {} an hour: at that it meets its {} limit of {} in {:.0f} h of use", point.name, watch.trend->fit.slope, point.uom.shown, ahead->is_trip ? "trip" : "warning",
                                         figure(point, ahead->limit), hours->likely));
  }
  return remarks;
}

}  // namespace steadyglow::soak
