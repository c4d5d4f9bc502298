#include "soak/engine.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "soak/verdict.hpp"
#include "soak/words.hpp"

namespace steadyglow::soak {
namespace {

using profile::Role;
using profile::StageKind;

/// A warm-up may wait this much longer than planned for the last point to settle.
constexpr Duration settle_extra_max = std::chrono::minutes{120};
/// A part that has not settled this long after the others is what it is.
constexpr Duration baseline_wait_max = std::chrono::hours{4};
/// Points that go silent together are told together.
constexpr Duration silence_group = std::chrono::seconds{15};
constexpr Duration silence_group_max = std::chrono::minutes{1};
/// Silent means no good reading for this many of the point's usual intervals, and at least the plan's time.
constexpr int silent_intervals = 5;
constexpr Duration silence_lasts_after = std::chrono::minutes{5};
constexpr int blind_intervals = 4;
/// All points come together about this often at least; a longer silence of everything is a gap.
constexpr int input_intervals_in_gap = 3;
constexpr Duration input_interval_max = std::chrono::minutes{10};

std::vector<PointWatch> watches_of(const profile::Profile& profile) {
  std::vector<PointWatch> watches;
  watches.reserve(profile.points.size());
  for (std::size_t i = 0; i < profile.points.size(); ++i) watches.emplace_back(profile.points[i], PointId{static_cast<std::uint16_t>(i)}, profile.drive);
  return watches;
}

}  // namespace

Engine::Engine(profile::Profile profile, profile::Plan plan, Policy policy)
    : profile_(std::move(profile)),
      policy_(std::move(policy)),
      book_(events_),
      stages_(std::move(plan)),
      points_(watches_of(profile_)),
      departures_(profile_),
      dissipations_(dissipation_watches(profile_)),
      start_watch_(profile_),
      mains_point_(profile_.first_of(Role::mains_voltage)),
      watts_point_(profile_.first_of(Role::mains_power)),
      ambient_point_(profile_.first_of(Role::ambient)),
      intervals_(profile_.points.size()),
      counted_when_seen_(profile_.points.size()),
      bad_since_(profile_.points.size()),
      is_bad_(profile_.points.size()) {
  counted_at_touch_.resize(profile_.points.size());
  touched_at_.resize(profile_.points.size());
  is_settling_again_.resize(profile_.points.size());
  has_figures_.resize(profile_.points.size());
  start_watch_.begin(at_ms(0));
  // Without a room sensor the chassis is the nearest thing to one for the parts inside it.
  if (!ambient_point_ && profile_.points.size() > 1) room_point_ = profile_.first_of(Role::chassis);
  else room_point_ = ambient_point_;
  if (room_point_ && !profile_.point(*room_point_).is_temperature()) room_point_.reset();
  quiets_.resize(profile_.points.size());
  speed_point_ = profile_.first_of(Role::speed);
  if (speed_point_) running_speed_ = profile_.point(*speed_point_).nominal.value_or(0.0);
  const auto current = profile_.first_of(Role::mains_current);
  proof_point_ = current ? current : watts_point_;
  if (profile_.drive == profile::Drive::programme) activity_point_ = watts_point_ ? watts_point_ : current ? current : profile_.first_of(Role::bias);
  if (profile_.mains_nominal) mains_.set_nominal(profile_.mains_nominal->value);
  else if (mains_point_ && profile_.point(*mains_point_).nominal)
    mains_.set_nominal(to_base(profile_.point(*mains_point_), *profile_.point(*mains_point_).nominal));
}

void Engine::begin_call(Timestamp at) {
  events_.clear();
  while (next_second_ <= at) {
    now_ = next_second_;
    next_second_ += std::chrono::seconds{1};
    on_second(now_);
  }
  now_ = std::max(now_, at);
}

std::span<const Event> Engine::advance(Timestamp now) {
  begin_call(now);
  return events_;
}

std::span<const Event> Engine::take(std::span<const Reading> readings) {
  if (readings.empty()) return {};
  begin_call(std::max(now_, readings.front().at()));
  // Time counts once an input has come at both of its ends: a gap is never bridged.
  if (last_input_at_ && now_ - *last_input_at_ <= gap_after()) stages_.count(unconfirmed_);
  unconfirmed_ = {};
  if (last_input_at_ && now_ > *last_input_at_) {
    const Duration passed = std::min(now_ - *last_input_at_, input_interval_max);
    input_interval_ = input_interval_ == Duration{} ? passed : (7 * input_interval_ + passed) / 8;
  }
  // What tells loud from quiet is heard before the readings that it speaks for.
  if (activity_point_) {
    for (const Reading& reading : readings) {
      if (!reading.is_good()) continue;
      if (reading.point() == *activity_point_) quiet_.step(now_, reading.value());
      if (profile_.point(reading.point()).role == Role::bias) quiets_[reading.point().index].step(now_, reading.value());
    }
  }
  if (speed_point_) watch_transport(readings);
  // The mains before what hangs on them: a sag excuses the readings of its own moment. The watts before those that they
  // bear witness for.
  const auto is_first = [&](const Reading& reading) { return reading.point() == mains_point_ || reading.point() == watts_point_; };
  for (const bool first : {true, false})
    for (const Reading& reading : readings)
      if (is_first(reading) == first) take_one(reading.at() < now_ ? reading.with_time(now_) : reading);
  last_input_at_ = now_;
  return events_;
}

/// Nobody sees the moment in which a deck stops: what was read since it was last seen turning counts for trends once it is seen
/// turning again, and not at all if it stands.
void Engine::watch_transport(std::span<const Reading> readings) {
  const auto seen_before = speed_at_;
  const bool is_running = is_transport_running(readings);
  transport_.step(now_, is_running);
  if (is_running && speed_at_ == seen_before) return;
  for (PointWatch& point : points_) {
    if (!stands_with_the_transport(point.point())) continue;
    if (is_running) point.believe_doubtful(now_);
    else point.drop_doubtful();
  }
}

/// By its speed if there is one, else not; and not at the watts of a deck in stop.
bool Engine::is_transport_running(std::span<const Reading> readings) {
  constexpr double playing_share = 0.85;
  constexpr Duration speed_fresh = std::chrono::seconds{15};
  for (const Reading& reading : readings) {
    if (!reading.is_good()) continue;
    if (reading.point() == *speed_point_) {
      if (!profile_.point(*speed_point_).nominal) running_speed_ = std::max(running_speed_, reading.value());
      speed_ = reading.value();
      speed_at_ = reading.at();
    } else if (watts_point_ == reading.point() && points_[watts_point_->index].minute()) {
      const bool is_low = reading.value() < playing_share * points_[watts_point_->index].minute()->median;
      low_watts_at_ = is_low ? std::optional(reading.at()) : std::nullopt;
    }
  }
  // A meter that is asked seldom is not older than its turn.
  const Duration interval = std::max(input_interval_, intervals_[speed_point_->index]);
  const bool is_fresh = speed_at_ && now_ - *speed_at_ <= std::max(speed_fresh, input_intervals_in_gap * interval);
  const bool has_fallen_since = is_fresh && low_watts_at_ && *low_watts_at_ >= *speed_at_;
  return is_fresh && !has_fallen_since && speed_ > analysis::Transport::running_share * running_speed_;
}

/// Without any input for this long nobody was there: slow recordings have longer steps than quick ones.
Duration Engine::gap_after() const { return std::max(stages_.plan().silent_after, input_intervals_in_gap * input_interval_); }

std::span<const Event> Engine::resume(Timestamp at, const std::string& why) {
  events_.clear();
  const Timestamp gap_from = last_input_at_.value_or(now_);
  now_ = std::max(now_, at);
  while (next_second_ <= now_) next_second_ += std::chrono::seconds{1};  // seconds that nobody watched are not judged
  last_input_at_.reset();
  unconfirmed_ = {};
  watched_from_ = now_;
  std::fill(is_bad_.begin(), is_bad_.end(), false);
  newly_silent_.clear();
  newly_silent_at_.reset();
  is_turn_awaited_ = false;  // who gives the turns was not there either: it is asked for again
  start_watch_.forget();
  if (power_ == Power::on) {
    interruptions_.push_back({gap_from, now_, why, false});
    begin_segment(now_);
    say_stage(now_, "warms up again: " + why);
  }
  return events_;
}

// ---- time ------------------------------------------------------------------------------------------------------

void Engine::on_second(Timestamp second) {
  stages_.pass(std::chrono::seconds{1});
  book_.advance(second);
  judge_proof(second);
  move_cycles(second);
  if (power_ == Power::on) {
    // Nothing at all came in: that is a gap of whoever recorded, not blindness; hours stand still.
    const bool is_fed = last_input_at_ && second - *last_input_at_ <= gap_after();
    if (is_fed) {
      count_second(second);
      judge_silence(second);
      judge_blindness(second);
      if (power_ == Power::on) judge_stuck_deck(second);
    }
  }
  if (ms_of(second) % 60000 == 0) on_minute(second);
}

void Engine::count_second(Timestamp second) {
  const PointWatch* unseen = silent_protective_point(second);
  // Silence is known late: what was counted since its last good reading was counted unseen.
  if (unseen != nullptr && !has_no_view_) {
    unconfirmed_ = {};
    stages_.uncount(stages_.counted() - counted_when_seen_[unseen->id().index]);
  }
  has_no_view_ = unseen != nullptr;
  if (const profile::Stage* stage = stages_.current(); stage != nullptr && stage->is_counted) {
    watched_ += std::chrono::seconds{1};
    if (has_no_view_) unseen_ += std::chrono::seconds{1};
  }
  if (why_not_counting().empty()) unconfirmed_ += std::chrono::seconds{1};
}

void Engine::on_minute(Timestamp minute) {
  if (power_ == Power::on) {
    // The mains and the room close first: the others are seen against the same minute of them.
    const auto is_cause = [&](const PointWatch& point) { return point.id() == mains_point_ || point.id() == room_point_; };
    for (PointWatch& point : points_)
      if (is_cause(point)) point.close_minute(minute, {});
    const Surroundings around = surroundings();
    for (PointWatch& point : points_)
      if (!is_cause(point)) point.close_minute(minute, around);
    if (!mains_point_) proxy_ln_mains_ = mains_as_shown(analysis::minute_of(minute) - 1);
    if (!mains_.nominal() && mains_point_) {
      if (const auto level = watch(*mains_point_).recent_raw_level(std::chrono::minutes{1}))
        mains_.set_nominal(to_base(profile_.point(*mains_point_), *level));
    }
    if (watts_point_ && !draws_no_power_ && !mains_.is_gone()) {
      const auto level = watch(*watts_point_).recent_raw_level(std::chrono::minutes{1});
      constexpr double watts_worth_watching = 4.0;
      // Under programme the unit runs at its quiet level; what lies above is music.
      const auto running = activity_point_ == watts_point_ ? quiet_.floor() : level;
      constexpr double same_state_share = 0.3;  // less is another state of the unit: standby
      if (running && *running > watts_worth_watching && (!running_watts_ || *running > same_state_share * *running_watts_)) running_watts_ = running;
    }
    if (activity_point_) forget_false_quiet(analysis::minute_of(minute));
    departures_.step(analysis::minute_of(minute) - 1, points_, climate(), stages_.phase() == Phase::judging && !mains_.is_gone() && !draws_no_power_);
    if (stages_.phase() == Phase::judging && departures_.has_changed_drive(analysis::minute_of(minute) - 1)) {
      say_stage(minute, "the drive changed: levels are learned anew");
      end_course_findings(minute, "the drive changed; it is judged afresh");
    }
    if (!mains_.is_gone() && !draws_no_power_) {
      judge_trends(minute);
      if (power_ == Power::on) judge_forecast(minute);
      if (power_ == Power::on) move_phase(minute);
    }
  }
  judge_bleed_down(minute);
  move_stage(minute);
}

std::string Engine::why_not_counting() const {
  if (power_ != Power::on) return "the outlet is off";
  if (stages_.is_done()) return "the plan is done";
  if (!stages_.current()->is_counted) return "this stage does not count";
  if (mains_.is_gone()) return "the mains are gone";
  if (mains_.is_outside()) return "the mains are outside 10 % of nominal";
  if (draws_no_power_) return "the unit draws no power";
  if (stages_.phase() != Phase::judging) return "it warms up again after an interruption";
  if (const PointWatch* unseen = silent_protective_point(now_)) return "no view of " + unseen->point().name;
  return {};
}

const PointWatch* Engine::silent_protective_point(Timestamp now) const {
  for (const PointWatch& point : points_)
    if (point.point().is_protective && is_silent(point, now)) return &point;
  return nullptr;
}

Duration Engine::silent_after(PointId id) const { return std::max(stages_.plan().silent_after, silent_intervals * intervals_[id.index]); }

bool Engine::is_silent(const PointWatch& watch, Timestamp now) const {
  const Timestamp since = std::max(watch.last_good_at().value_or(at_ms(0)), watched_from_);
  return now - since > silent_after(watch.id());
}

void Engine::judge_silence(Timestamp now) {
  for (const PointWatch& point : points_) {
    const bool is_told = book_.covers(Kind::no_data, point.id()) || book_.covers(Kind::sensor, point.id());
    const bool has_stopped = transport_.is_stopped() && stands_with_the_transport(point.point()) && is_excused_stop(now);
    if (has_stopped) continue;
    const bool waits = std::find(newly_silent_.begin(), newly_silent_.end(), point.id()) != newly_silent_.end();
    if (is_told || waits || !is_silent(point, now)) continue;
    if (!newly_silent_at_) newly_silent_at_ = now;
    newly_silent_.push_back(point.id());
  }
  for (const Finding* finding : book_.standing()) {
    if (finding->aspect != Aspect::reading) continue;
    if (finding->kind != Kind::no_data && (finding->kind != Kind::sensor || watch(finding->points.front()).is_contact_lost())) continue;
    const bool is_back = std::all_of(finding->points.begin(), finding->points.end(), [&](PointId id) { return !is_silent(watch(id), now); });
    if (!is_back) continue;
    book_.clear(finding->kind, finding->points.front(), now, fmt::format("{} reads again", profile_.point(finding->points.front()).name));
    break;  // the list just changed; the next second sees the rest
  }
  insist_on_silence(now);
  // A meter that takes several points with it has read each of them at another moment.
  Duration wait = silence_group;
  for (const PointId id : newly_silent_) wait = std::max(wait, std::min(intervals_[id.index], silence_group_max));
  if (!newly_silent_at_ || now - *newly_silent_at_ < wait) return;
  std::erase_if(newly_silent_, [&](PointId id) { return !is_silent(watch(id), now); });
  // What the meter itself says of its sensor is told apart from a meter that says nothing.
  const auto is_sensor = [&](PointId id) {
    const auto& latest = watch(id).latest();
    return latest && (latest->quality() == Quality::open_sensor || latest->quality() == Quality::over_range || latest->quality() == Quality::implausible);
  };
  for (const bool sensor : {false, true}) {
    std::vector<PointId> group;
    std::copy_if(newly_silent_.begin(), newly_silent_.end(), std::back_inserter(group), [&](PointId id) { return is_sensor(id) == sensor; });
    if (group.empty()) continue;
    const auto& latest = watch(group.front()).latest();
    const std::string_view why = latest && !latest->is_good() ? to_word(latest->quality()) : "nothing came";
    const Timestamp since = watch(group.front()).last_good_at().value_or(at_ms(0));
    const std::string others = group.size() > 1 ? fmt::format(" and {} more points", group.size() - 1) : "";
    book_.raise({sensor ? Kind::sensor : Kind::no_data, Severity::note, true, now, group, std::nullopt, std::nullopt, {}, Aspect::reading,
                 fmt::format("no good reading of {}{} for {} ({})", profile_.point(group.front()).name, others, span_text(now - since), why)});
  }
  newly_silent_.clear();
  newly_silent_at_.reset();
}

/// A gap of a minute is for the record; one that stays wants a person in the morning.
void Engine::insist_on_silence(Timestamp now) {
  std::vector<Finding> lasting;
  for (const Finding* finding : book_.standing()) {
    const bool is_silence = finding->kind == Kind::no_data || (finding->kind == Kind::sensor && finding->aspect == Aspect::reading);
    if (!is_silence || finding->severity != Severity::note || now - finding->at < silence_lasts_after) continue;
    lasting.push_back(*finding);
  }
  for (Finding& finding : lasting) {
    const profile::Point& point = profile_.point(finding.points.front());
    const std::string others = finding.points.size() > 1 ? fmt::format(" and {} more points", finding.points.size() - 1) : "";
    const auto& latest = watch(finding.points.front()).latest();
    finding.message = fmt::format("still no good reading of {}{} after {} ({}): {} until somebody has looked at its meter and clip", point.name, others, span_text(now - finding.at),
                                  latest && !latest->is_good() ? to_word(latest->quality()) : "nothing comes", point.is_protective ? "its hours stand still" : "its gap stays open");
    finding.severity = Severity::warn;
    finding.at = now;
    book_.raise(std::move(finding));
  }
}

/// Losing the last protective point is losing sight of the unit. Only what the meters themselves said counts as lost:
/// bad readings for the whole time.
void Engine::judge_blindness(Timestamp now) {
  bool has_protective = false;
  for (const PointWatch& point : points_) {
    if (!point.point().is_protective || point.point().is_mains()) continue;
    has_protective = true;
    const std::size_t index = point.id().index;
    const Duration limit = std::max(stages_.plan().blind_trip_after, blind_intervals * intervals_[index]);
    const bool is_blind = (is_bad_[index] && now - bad_since_[index] > limit) || point.is_contact_lost();
    if (!is_blind) return;
  }
  if (!has_protective) return;
  // Nothing at all answers, not even the meters of the mains: the bench itself has lost its supply. Its relays power up
  // open; the order sees to it. A run that somebody set a policy for waits for the mains, another is cut.
  if (!policy_.set_by.empty() && std::all_of(points_.begin(), points_.end(), [&](const PointWatch& p) { return is_bad_[p.id().index] || is_silent(p, now); }))
    return lose_the_bench(now);
  const std::string reason = "no protective point of this unit can be read any more: it is cut rather than left unwatched";
  std::vector<PointId> blind;
  for (const PointWatch& point : points_)
    if (point.point().is_protective && !point.point().is_mains()) blind.push_back(point.id());
  book_.raise({Kind::no_data, Severity::trip, true, now, blind, std::nullopt, std::nullopt, {}, Aspect::reading, reason, alarm::Priority::medium});
  is_cut_blind_ = true;
  open_outlet(now, Power::tripped, reason);
}

/// The gap began with the last reading, not when it was sure.
void Engine::lose_the_bench(Timestamp now) {
  Timestamp last{};
  for (const PointWatch& point : points_) last = std::max(last, point.last_good_at().value_or(Timestamp{}));
  interrupt(now, Power::lost, "nothing answers any more, not even the meters of the mains: the bench has lost its supply or all of its wires", false);
  interruptions_.back().from = std::min(interruptions_.back().from, last);
}

/// What must stand still before the unit counts as warm. Temperatures of heavy parts take hours: they get their baseline
/// later, each when it has settled.
bool Engine::holds_up_the_warm_up(const PointWatch& watch) const {
  return is_judged_for_trend(watch) && !watch.point().is_temperature() && !watch.series().empty() &&
         watch.settling.state != analysis::SettlingState::settled;
}

void Engine::move_phase(Timestamp now) {
  if (stages_.phase() == Phase::warming) {
    if (stages_.in_phase() < stages_.warm_up()) return;
    std::vector<PointId> unsettled;
    for (const PointWatch& point : points_)
      if (holds_up_the_warm_up(point)) unsettled.push_back(point.id());
    if (!unsettled.empty()) {
      if (stages_.in_phase() < stages_.warm_up() + settle_extra_max) return;
      const profile::Point& first = profile_.point(unsettled.front());
      book_.raise({Kind::settling, Severity::note, true, now, unsettled, watch(unsettled.front()).last_good(), std::nullopt, first.uom.symbol, Aspect::reading,
                   fmt::format("{} has not settled {} after the start; the baseline is taken all the same", first.name, span_text(stages_.in_phase()))});
    }
    for (PointWatch& point : points_) point.arm_all_limits();
    stages_.enter(Phase::taking_baseline);
    return;
  }
  if (stages_.phase() == Phase::taking_baseline) {
    if (stages_.in_phase() < stages_.baseline()) return;
    stages_.enter(Phase::judging);
    // While it warmed up hands were at work: what broke away then says nothing of joints.
    for (PointWatch& point : points_) point.forget_bursts();
    for (PointWatch& point : points_)
      if (!point.point().is_temperature()) point.freeze_baseline(now, stages_.segment(), stages_.baseline());
  }
  settle_again(now);
  for (PointWatch& point : points_) {
    if (is_settling_again_[point.id().index]) continue;
    const bool is_due = point.settling.state == analysis::SettlingState::settled || stages_.in_phase() >= baseline_wait_max;
    if (!point.baseline() && is_due) point.freeze_baseline(now, stages_.segment(), stages_.baseline());
  }
}

void Engine::move_stage(Timestamp now) {
  const profile::Stage* stage = stages_.current();
  if (stage == nullptr || power_ == Power::tripped || power_ == Power::off_by_person || (is_waiting(power_) && !is_check_awaited_)) return;
  const bool is_warm = stages_.phase() != Phase::warming;
  const bool has_baseline = stages_.phase() == Phase::judging;
  bool is_over = stages_.is_stage_over();
  if (stage->kind == StageKind::warm_up) is_over = is_warm;
  if (stage->kind == StageKind::baseline) is_over = has_baseline;
  if (stage->kind == StageKind::power_cycles) is_over = are_cycles_over();
  if (stage->kind == StageKind::final_check) is_over = is_final_check_over(now);
  // Hours after the last touch of a screwdriver are what the buyer gets: the last soak waits for them.
  const auto& all = stages_.plan().stages;
  const bool is_last_counted = stage->is_counted && std::none_of(all.begin() + static_cast<std::ptrdiff_t>(stages_.index()) + 1, all.end(), [](const profile::Stage& s) { return s.is_counted; });
  if (is_last_counted && last_touch_ && stages_.counted() - *last_touch_ < tail_needed()) return;
  if (!is_over) return;
  if (stage->kind == StageKind::final_check) check_finally(now);
  stages_.next_stage();
  if (stages_.is_done()) return finish(now);
  const bool are_cycles_left_out = stages_.current()->kind == StageKind::power_cycles && policy_.set_by.empty();
  say_stage(now, are_cycles_left_out ? "power cycles are left out: nobody who starts this run has wanted it switched on by itself" : std::string(profile::to_word(stages_.current()->kind)));
  cycles_done_ = 0;
  cycle_since_.reset();
  is_cycling_ = false;
  first_start_.reset();
  if (stages_.current()->kind == StageKind::final_check) begin_final_check(now);
  if (stages_.current()->kind == StageKind::cool_down && power_ == Power::on) open_outlet(now, Power::off_by_plan, "the plan's cool-down begins");
}

void Engine::begin_segment(Timestamp at, std::optional<Duration> warm_up, std::optional<Duration> baseline) {
  for (PointWatch& point : points_) point.begin_segment();
  std::fill(is_settling_again_.begin(), is_settling_again_.end(), false);  // all of it settles again
  stages_.begin_segment(warm_up, baseline);
  for (DissipationWatch& dissipation : dissipations_) dissipation.clear();
  departures_.begin_segment(at);
  proxy_.begin(analysis::minute_of(at));
  proxy_ln_mains_.reset();
  quiet_.clear();
  for (analysis::Quiet& quiet : quiets_) quiet.clear();
  no_power_since_.reset();
  end_course_findings(at, "a new segment begins; it is judged afresh");
}

/// What was said of courses does not hold any more: levels are learned anew.
void Engine::end_course_findings(Timestamp at, const std::string& why) {
  struct Ended {
    Kind kind;
    std::optional<PointId> point;
    Aspect aspect;
  };
  std::vector<Ended> ended;
  for (const Finding* finding : book_.standing()) {
    const bool is_course = finding->kind == Kind::drift || finding->kind == Kind::rise || finding->kind == Kind::imbalance || finding->kind == Kind::runaway || finding->kind == Kind::speed ||
                           (finding->kind == Kind::step && !draws_no_power_);
    if (is_course) ended.push_back({finding->kind, finding->points.empty() ? std::nullopt : std::optional(finding->points.front()), finding->aspect});
  }
  for (const Ended& one : ended) book_.clear(one.kind, one.point, at, why, one.aspect);
}

// ---- off -------------------------------------------------------------------------------------------------------

void Engine::open_outlet(Timestamp at, Power power, std::string reason) {
  const bool is_trip = power == Power::tripped;
  if (!verdict_ && (is_trip || power == Power::off_by_person)) {
    // A cut for want of sight says nothing against the unit: its hours are incomplete.
    verdict_ = weigh(stages_, book_, points_, is_trip && !is_cut_blind_, at, remarks());
    if (power == Power::off_by_person || is_cut_blind_) verdict_->reasons.push_back(reason);
    events_.emplace_back(*verdict_);
  }
  if (power_ == Power::on) begin_bleed_down();
  start_watch_.forget();
  power_ = power;
  off_reason_ = std::move(reason);
  off_text_ = proof_point_ ? "ordered off, waiting for the current to fall" : "ordered off; no point of this unit can prove it";
  is_bench_ordered_ = false;
  is_unprovable_told_ = false;
  off_.clear();
  off_.order(at, stages_.plan().off_proven_within);
  events_.emplace_back(OpenOutlet{at, 1, is_trip, off_reason_});
  book_.silence(at);
}

void Engine::finish(Timestamp at) {
  verdict_ = weigh(stages_, book_, points_, false, at, remarks());
  events_.emplace_back(*verdict_);
  say_stage(at, "the plan is done");
  if (power_ == Power::on && stages_.plan().is_off_at_end) open_outlet(at, Power::off_by_plan, "the plan is done");
}

void Engine::say_stage(Timestamp at, std::string text) { events_.emplace_back(StageChange{at, stages_.index(), std::move(text)}); }

Surroundings Engine::surroundings() const {
  const analysis::Climate::Input now = climate();
  return {now.ln_mains, now.room};
}

std::string Engine::surroundings_text() const {
  std::string text;
  const auto add = [&](std::optional<PointId> id, std::string_view name) {
    if (!id || !watch(*id).last_good()) return;
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", name, figure(profile_.point(*id), *watch(*id).last_good()));
    // What nobody reads any more is no surrounding, only the last that was known of it.
    if (is_silent(watch(*id), now_)) text += fmt::format(" ({} ago)", span_text(now_ - *watch(*id).last_good_at()));
  };
  add(mains_point_, "mains");
  add(ambient_point_, "room");
  return text.empty() ? "mains and room are not measured" : text;
}

}  // namespace steadyglow::soak
