#include "app/session.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>

#include "http/json.hpp"
#include "soak/event_json.hpp"
#include "seal/engine_words.hpp"
#include "soak/finding_json.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// While a cut waits for its proof the meter that shows it is read this often, real time.
constexpr std::chrono::milliseconds proof_every{200};
/// A relay's device that does not say how the relay stands is asked again after this long, real time.
constexpr std::chrono::milliseconds ask_again_after{500};

Json verdict_json(const soak::Verdict& verdict) {
  return {{"time_s", seconds_of(verdict.at)}, {"word", soak::to_word(verdict.word)}, {"is_proposed", true}, {"reasons", verdict.reasons}};
}

}  // namespace

UnitSession::UnitSession(const UnitSettings& settings, double clock_rate, store::Store& store, SessionLinks links)
    : settings_(&settings), clock_rate_(clock_rate), store_(store), links_(std::move(links)), conversions_(settings.points, clock_rate), latest_(settings.profile.points.size()) {}

// ---- inputs ----------------------------------------------------------------------------------------------------

void UnitSession::take(const acquire::MeterBatch& batch) {
  std::vector<Reading> readings;
  // Two batches never share a moment, and none is older than what was judged before it: a recording of this run
  // then has one row per batch and replays to the same.
  Timestamp at{};
  if (run_) at = std::max(run_->time.at(batch.taken_at), run_->last_fed + Duration{1});
  conversions_.hear(batch.bus, batch.meter, batch.reply, batch.taken_at);
  for (std::size_t i = 0; i < settings_->points.size(); ++i) {
    const PointBinding& binding = settings_->points[i];
    if (binding.bus != batch.bus || binding.meter != batch.meter) continue;
    if (binding.channel >= batch.reply.channels.size()) continue;
    const auto [value, quality, slope] = conversions_.convert(i, batch.reply.channels[binding.channel], batch.taken_at);
    latest_[binding.point.index] = {value, quality, batch.taken_at, true};
    readings.push_back(Reading::of(binding.point, at, value, quality));
  }
  if (readings.empty() || !run_ || !run_->is_fed) return;
  std::sort(readings.begin(), readings.end(), [](const Reading& a, const Reading& b) { return a.point() < b.point(); });
  run_->last_fed = at;
  const auto events = run_->engine->take(readings);
  hear(events);
  store_.append_readings(run_->id, at, readings);
  story_.mark_counted(at, *run_->engine);
  last_moved_ = batch.taken_at;
  if (is_powered() && draws_power().value_or(false)) last_amperes_ = amperes();
  if (rehearsal_ && !rehearsal_->is_over())
    if (const auto draws = draws_power()) rehearsal_->saw(*draws, std::chrono::steady_clock::now());
  end_run_when_over(at);
}

void UnitSession::tick(Boottime now) {
  if (run_ && run_->wants_relay_state && now - relay_asked_ >= ask_again_after) {
    relay_asked_ = now;
    ask_how_the_relay_stands();
  }
  if (run_ && run_->engine->off_state() == soak::OffWatch::State::waiting && now - proof_asked_ >= proof_every) {
    proof_asked_ = now;
    links_.read_proof_soon();
  }
  if (run_ && run_->engine->power() == soak::Power::lost) {
    if (!run_->is_steady_told && links_.are_mains_steady()) {
      run_->is_steady_told = true;
      feed({.kind = soak::ActKind::supply_steady, .who = "steadyglowd", .why = "the mains of the bench are steady"});
    }
  } else if (run_) {
    run_->is_steady_told = false;
  }
  rehearse_on();
  if (run_ && run_->is_fed) {
    const Timestamp second = at_ms(ms_of(run_->time.at(now)) / 1000 * 1000);
    if (second > run_->last_fed) {
      run_->last_fed = second;
      hear(run_->engine->advance(second));
      end_run_when_over(second);
    }
    last_moved_ = now;
  }
  remember_lock();
  write_if_due();
}

Result<void> UnitSession::may_start(const std::string& who, bool is_at_the_bench) const {
  if (who.empty()) return fail(Fault::usage, "nobody's name is given", "say who starts it");
  if (run_ && !run_->engine->is_over()) return fail(Fault::usage, "a run of this unit is going on", "stop it first");
  if (run_ && draws_power().value_or(false) && run_->engine->off_state() == soak::OffWatch::State::failed)
    return fail(Fault::permission, "the outlet was ordered off and the unit still draws power", "unplug it, and have the relay looked at by a qualified person");
  return settings_->outlet ? keeper_.may_close(who, is_at_the_bench) : Result<void>{};
}

Result<void> UnitSession::start(const std::string& who, bool is_at_the_bench, const soak::Policy& policy) {
  if (auto may = may_start(who, is_at_the_bench); !may) return may;
  if (settings_->outlet) {
    if (auto closed = keeper_.close(who, is_at_the_bench); !closed) return closed;
  }
  Run run;
  run.started_utc = utc_label(utc_now_ms());
  const Boottime now = boottime_now();
  run.time = RunTime(now, clock_rate_);
  run.engine = std::make_unique<soak::Engine>(settings_->profile, settings_->plan, policy);
  store::RunRow row;
  row.unit = settings_->name;
  row.title = settings_->title;
  row.serial = settings_->serial;
  row.profile_name = settings_->profile_name;
  row.profile_text = settings_->profile_text;
  row.plan_name = settings_->plan_name;
  row.plan_text = settings_->plan_text;
  row.started_utc = run.started_utc;
  row.boot_id = boot_id();
  row.started_boottime_ms = std::chrono::duration_cast<std::chrono::milliseconds>(now).count();
  row.started_by = who;
  row.state = "running";
  for (const auto& point : settings_->profile.points) row.points.push_back(point.name);
  run.id = store_.begin_run(std::move(row));
  // The first input of a run: whoever feeds it again needs it before the engine is there.
  store_.append_input(run.id, Timestamp{}, record::input_kind_policy, soak::to_json_text(policy));
  note_engine(run.id, Timestamp{});
  // Who really answers is asked of the meters; what the configuration says stands where they cannot tell.
  record::Wiring wiring = settings_->wiring;
  for (record::Meter& meter : wiring.meters)
    if (std::string answered = links_.identity(meter.name); !answered.empty()) meter.identification = std::move(answered);
  store_.append_event(run.id, Timestamp{}, record::event_kind_wiring, record::to_json_text(wiring));
  run_ = std::move(run);
  story_ = {};
  last_moved_ = now;
  spdlog::info("{}: run {} started by {}, {}", settings_->title, run_->id, who, policy.is_unattended ? "unattended" : "attended");
  write_if_due();
  return {};
}

Result<void> UnitSession::stop(const std::string& who, const std::string& why) {
  if (who.empty()) return fail(Fault::usage, "nobody's name is given", "say who stops it");
  if (run_ && !run_->engine->is_over()) {
    soak::Act stop;
    stop.kind = soak::ActKind::stop;
    stop.who = who;
    stop.why = why;
    feed(std::move(stop));
  }
  // Whatever the engine makes of it, a person's "off" is off.
  if (settings_->outlet && keeper_.wanted() != outlet::Wanted::off) keeper_.open(fmt::format("{} ordered it off", who), false);
  links_.want_turn(false);
  if (rehearsal_) rehearsal_->abort(who + " ordered it off", std::chrono::steady_clock::now());
  write_if_due();
  return {};
}

/// Engine first, then the relay, then the store.
void UnitSession::feed(soak::Act act) {
  const Timestamp at = run_->last_fed + Duration{1};
  run_->last_fed = at;
  cannot_close_.clear();
  hear(run_->engine->act(at, act));
  store_.append_input(run_->id, at, soak::to_word(act.kind), soak::to_json_text(act));
  // What could not be switched on is off, and the run waits.
  if (!cannot_close_.empty()) {
    const std::string why = std::move(cannot_close_);
    feed({.kind = soak::ActKind::pause, .who = "steadyglowd", .why = "it could not be switched on: " + why});
  }
}

Result<void> UnitSession::act(soak::Act act) {
  if (!run_) return fail(Fault::usage, "this unit has no run yet", "start it first");
  if (act.who.empty()) return fail(Fault::usage, "nobody's name is given", "say who does it");
  if (act.kind == soak::ActKind::stop) return stop(act.who, act.why);
  if (auto may = run_->engine->why_not(act); !may) return may;
  if (act.kind == soak::ActKind::go_on && settings_->outlet) {
    if (keeper_.is_defective()) return fail(Fault::permission, "this contact is marked defective: " + keeper_.defect(), "have it replaced by a qualified person, then say so");
    if (keeper_.is_locked()) return fail(Fault::permission, "the interlock holds: " + keeper_.reason(), "power returns only by a person at the bench who has looked at the unit");
  }
  if (act.kind == soak::ActKind::pause) links_.want_turn(false);
  feed(std::move(act));
  write_if_due();
  return {};
}

Result<void> UnitSession::leave(const soak::Policy& policy) {
  soak::Act act;
  act.kind = soak::ActKind::leave;
  act.who = policy.set_by;
  act.policy = soak::to_json_text(policy);
  return this->act(std::move(act));
}

void UnitSession::bench_was_opened(const std::string& why) {
  links_.want_turn(false);
  if (rehearsal_ && !rehearses_contactor_) rehearsal_->abort(why, std::chrono::steady_clock::now());
  if (!run_ || run_->engine->is_over() || (rehearsal_ && rehearses_contactor_)) return;
  feed({.kind = soak::ActKind::bench_opened, .who = "steadyglowd", .why = why});
  write_if_due();
}

void UnitSession::supply_was_cut(const std::string& why) {
  if (!run_ || run_->engine->power() != soak::Power::on) return;
  feed({.kind = soak::ActKind::relay_open, .who = "steadyglowd", .why = why});
  // Nothing may come back by itself when the device is fed again.
  if (settings_->outlet) keeper_.open(why, false);
  write_if_due();
}

void UnitSession::take_turn() {
  if (!run_ || !soak::is_waiting(run_->engine->power()) || !settings_->outlet) return;
  is_turn_ = true;
  feed({.kind = soak::ActKind::go_on, .who = turn_of_, .why = turn_why_});
  is_turn_ = false;
  write_if_due();
}

bool UnitSession::owns_alarm(std::int64_t alarm) const { return run_ && alarm / alarms_per_run == run_->id; }

Result<http::AlarmView> UnitSession::acknowledge(std::int64_t alarm, const std::string& who, const std::string& note) {
  if (who.empty()) return fail(Fault::usage, "nobody's name is given", "say who acknowledges it");
  const std::int64_t local = alarm % alarms_per_run;
  const auto& records = run_->engine->book().alarms();
  const auto found = [&] { return std::find_if(records.begin(), records.end(), [&](const auto& r) { return r.id == local; }); };
  if (found() == records.end()) return fail(Fault::bad_data, fmt::format("there is no alarm {}", alarm));
  if (!alarm::needs_person(found()->alarm.state)) return fail(Fault::usage, "this alarm is acknowledged already");
  feed({.kind = soak::ActKind::acknowledge, .who = who, .why = note, .alarm = local});
  return alarm_view(*found());
}

// ---- after a restart -------------------------------------------------------------------------------------------

RunTime UnitSession::time_of(const store::RunRow& row) const {
  Boottime started{std::chrono::milliseconds{row.started_boottime_ms}};
  if (row.boot_id != boot_id()) started = boottime_now() - std::chrono::milliseconds{std::max<std::int64_t>(0, utc_now_ms() - utc_from_label(row.started_utc))};
  return RunTime(started, clock_rate_);
}

void UnitSession::adopt(const store::RunRow& row, Retold told) {
  Run run;
  run.id = row.id;
  run.started_utc = row.started_utc;
  run.time = time_of(row);
  run.engine = std::move(told.engine);
  run.last_fed = told.last_fed;
  run_ = std::move(run);
  story_ = std::move(told.story);
}

Result<void> UnitSession::recover(store::StoreReader& reader, const store::RunRow& row) {
  auto told = retell(*settings_, reader, row);
  if (!told) return tl::unexpected(told.error());
  const std::uint64_t inputs = told->inputs;
  adopt(row, std::move(*told));

  const bool is_same_boot = row.boot_id == boot_id();
  const Boottime now = boottime_now();
  const Timestamp back_at = std::max(run_->time.at(now), run_->last_fed + Duration{1});
  const std::string why = fmt::format("the daemon was not running for {:.1f} min{}", minutes_of(back_at - run_->last_fed), is_same_boot ? "" : ", and the machine was restarted");
  last_moved_ = now;
  spdlog::info("{}: run {} taken up again from {} stored inputs; {}", settings_->title, row.id, inputs, why);
  run_->last_fed = back_at - Duration{1};
  note_engine(run_->id, run_->last_fed);
  feed({.kind = soak::ActKind::resume, .who = "steadyglowd", .why = why});
  for (const soak::AlarmRecord& record : run_->engine->book().alarms()) links_.alarm_changed(fact_of(record));
  // Whatever the relay did meanwhile: a unit that was to be off is ordered off again. None is switched on.
  if (run_->engine->power() != soak::Power::on) keeper_.open(run_->engine->off_reason(), run_->engine->power() == soak::Power::tripped);
  else if (!is_same_boot) supply_was_cut("the machine was restarted: the unit had lost its supply, or must be taken to have");
  else run_->wants_relay_state = settings_->outlet.has_value();
  write_if_due();
  return {};
}

/// For the sealed record: whoever tells the run again must know which engine judged it.
void UnitSession::note_engine(std::int64_t run, Timestamp at) { store_.append_event(run, at, seal::event_kind_engine, Json{{"version", seal::engine_version}}.dump()); }

void UnitSession::show_ended(const store::RunRow& row, Retold told) {
  if (run_) return;  // somebody was quicker and has started another
  adopt(row, std::move(told));
  run_->is_fed = false;
  run_->is_end_stored = true;
  for (const soak::AlarmRecord& record : run_->engine->book().alarms()) links_.alarm_changed(fact_of(record));
}

void UnitSession::doubt_relay() {
  if (run_ && run_->engine->power() == soak::Power::on) run_->wants_relay_state = true;
}

void UnitSession::ask_how_the_relay_stands() {
  run_->wants_relay_state = false;
  links_.ask_outlet([this](Result<bool> is_closed) {
    if (!run_ || run_->engine->power() != soak::Power::on) return;
    // Not answered, or an order is on its way: asked again.
    if (!is_closed || !keeper_.is_accepted()) {
      run_->wants_relay_state = true;
      return;
    }
    if (keeper_.wanted() == outlet::Wanted::unknown) keeper_.found(*is_closed);
    if (!*is_closed) supply_was_cut("the unit's relay was found open: the hardware watchdog or the module had opened it");
  });
}

// ---- outputs ---------------------------------------------------------------------------------------------------

Duration UnitSession::counted_at(std::int64_t utc_ms) const {
  Duration counted{};
  for (const auto& [at, so_far] : story_.counted_marks()) {
    if (utc_from_label(utc_of(at)) > utc_ms) break;
    counted = so_far;
  }
  return counted;
}

void UnitSession::hear(std::span<const soak::Event> events) {
  // Orders first: nothing waits for disk or network on the way to the relay.
  for (const soak::Event& event : events) {
    if (const auto* order = std::get_if<soak::OpenOutlet>(&event)) obey(*order);
    if (const auto* bench = std::get_if<soak::OpenBench>(&event)) obey(*bench);
    if (const auto* close = std::get_if<soak::CloseOutlet>(&event)) obey(*close);
    if (const auto* due = std::get_if<soak::SwitchOnDue>(&event)) obey(*due);
  }
  write_if_due();
  story_.note(events);
  for (const soak::Event& event : events) std::visit([this](const auto& one) { hear_one(one); }, event);
}

void UnitSession::obey(const soak::OpenOutlet& order) {
  links_.want_turn(false);
  if (rehearses_contactor_ && order.attempt == 1 && !order.is_trip) return links_.open_bench(order.reason, false);
  keeper_.open(order.reason, order.is_trip);
}

void UnitSession::obey(const soak::OpenBench& order) {
  mark_relay_defective(order.reason);
  links_.open_bench(fmt::format("{}: {}", settings_->title, order.reason), true);
}

/// What a person wants is done now; what their policy wants waits for its turn.
void UnitSession::obey(const soak::CloseOutlet& order) {
  if (!settings_->outlet) return;
  Result<void> closed = rehearses_contactor_ ? links_.close_bench(order.who) : is_turn_ ? keeper_.close_by_policy(order.who) : keeper_.close(order.who, false);
  if (closed) return;
  spdlog::error("{}: cannot be switched on: {}", settings_->title, closed.error().text());
  cannot_close_ = closed.error().message;
}

void UnitSession::obey(const soak::SwitchOnDue& order) {
  turn_of_ = order.who;
  turn_why_ = order.reason;
  links_.want_turn(true);
}

void UnitSession::mark_relay_defective(const std::string& why) {
  if (!settings_->outlet || keeper_.is_defective()) return;
  keeper_.mark_defective(why);
  links_.remember("contact", {{"output", settings_->name + ".outlet"}, {"is_defective", true}, {"is_unproven", true}, {"why", why}});
}

void UnitSession::hear_one(const soak::Finding& finding) {
  Json json = soak::to_json(finding, settings_->profile);
  store_event(finding.at, "finding", json);
  const std::string line = fmt::format("{}: {} {}: {}", settings_->title, to_word(finding.kind), finding.is_raised ? "raised" : "cleared", finding.message);
  if (finding.severity == soak::Severity::note) spdlog::info("{}", line);
  else spdlog::warn("{}", line);
  json["unit"] = settings_->name;
  links_.publish("finding", std::move(json));
}

void UnitSession::hear_one(const soak::AlarmRecord& record) {
  Json json = http::to_json(alarm_view(record));
  store_event(std::max(record.alarm.changed_at, record.raised_at), "alarm", json);
  links_.publish("alarm", std::move(json));
  links_.alarm_changed(fact_of(record));
}

alarm::Fact UnitSession::fact_of(const soak::AlarmRecord& record) const {
  alarm::Fact fact;
  fact.unit = settings_->name;
  fact.title = settings_->title;
  fact.bench = settings_->bench;
  fact.run = run_->id;
  fact.id = run_->id * alarms_per_run + record.id;
  fact.kind = soak::to_word(record.finding.kind);
  if (!record.finding.points.empty()) fact.point = settings_->profile.point(record.finding.points.front()).name;
  fact.priority = record.priority;
  fact.cause = record.cause;
  if (fact.cause == alarm::Cause::bus) {
    // One meter that is gone is the unit's matter; a whole silent bus is one event over all that hang on it.
    fact.cause = alarm::Cause::unit;
    for (const PointBinding& binding : settings_->points)
      if (!record.finding.points.empty() && binding.point == record.finding.points.front() && links_.is_bus_silent(binding.bus)) {
        fact.cause = alarm::Cause::bus;
        fact.cause_name = links_.bus_name(binding.bus);
      }
  }
  if (fact.cause == alarm::Cause::bench) fact.cause_name = settings_->bench;
  fact.state = record.alarm.state;
  fact.is_condition_true = record.alarm.is_condition_true;
  fact.message = record.finding.message;
  fact.who = record.changed_by;
  fact.why = record.why;
  return fact;
}

void UnitSession::hear_one(const soak::OpenOutlet& order) {
  store_event(order.at, "order", {{"time_s", seconds_of(order.at)}, {"attempt", order.attempt}, {"is_trip", order.is_trip}, {"reason", order.reason}});
  spdlog::warn("{}: outlet ordered off (attempt {}): {}", settings_->title, order.attempt, order.reason);
}

void UnitSession::hear_one(const soak::StageChange& change) {
  store_event(change.at, "stage", {{"time_s", seconds_of(change.at)}, {"stage", change.stage}, {"text", change.text}});
  spdlog::info("{}: stage: {}", settings_->title, change.text);
}

void UnitSession::hear_one(const soak::Verdict& verdict) {
  store_event(verdict.at, "verdict", verdict_json(verdict));
  spdlog::info("{}: verdict proposed: {}", settings_->title, soak::to_word(verdict.word));
}

void UnitSession::hear_one(const soak::OpenBench& order) {
  store_event(order.at, soak::kind_word(order), soak::to_json(order));
  spdlog::critical("{}: the outlet does not obey; bench contactor ordered open: {}", settings_->title, order.reason);
}

void UnitSession::hear_one(const soak::CloseOutlet& order) {
  store_event(order.at, soak::kind_word(order), soak::to_json(order));
  spdlog::warn("{}: outlet closed for {}: {}", settings_->title, order.who, order.reason);
}

void UnitSession::hear_one(const soak::SegmentChange& change) {
  store_event(change.at, soak::kind_word(change), soak::to_json(change, settings_->profile));
  spdlog::info("{}: segment {}: {}", settings_->title, change.number, change.why);
}

template <class Event>
void UnitSession::hear_one(const Event& event) {
  const Json json = soak::to_json(event);
  spdlog::info("{}: {}: {}", settings_->title, soak::kind_word(event), json.dump());
  store_event(event.at, soak::kind_word(event), json);
}

void UnitSession::store_event(Timestamp at, std::string_view kind, const Json& json) { store_.append_event(run_->id, at, kind, json.dump()); }

void UnitSession::write_if_due() {
  if (!settings_->outlet) return;
  const auto write = keeper_.next_write(std::chrono::steady_clock::now());
  if (!write) return;
  links_.write_outlet(*write, [this, on = *write](Result<void> result) {
    keeper_.answered(on, result.has_value());
    if (!result && !is_relay_refusing_) spdlog::error("{}: the relay did not take the order and is asked again: {}", settings_->title, result.error().text());
    if (result && is_relay_refusing_) spdlog::info("{}: the relay took the order", settings_->title);
    is_relay_refusing_ = !result.has_value();
    if (result) links_.read_proof_soon();
    else if (on && run_ && run_->engine->power() == soak::Power::on) feed({.kind = soak::ActKind::pause, .who = "steadyglowd", .why = "the relay did not accept the switch-on"});
    write_if_due();
  });
}

// ---- rehearsal -------------------------------------------------------------------------------------------------

Result<void> UnitSession::rehearse(const std::string& who, bool with_contactor) {
  if (!settings_->outlet) return fail(Fault::usage, "this unit has no outlet that can be opened");
  if (rehearsal_ && !rehearsal_->is_over()) return fail(Fault::usage, "a rehearsal is going on");
  if (!is_powered()) return fail(Fault::usage, "the unit has no run that is powered", "start it attended, and stay beside it");
  if (!draws_power().value_or(false)) return fail(Fault::usage, "the unit draws no power: nothing could be proven", "a rehearsal needs a current that can fall");
  rehearsal_.emplace(with_contactor, outlet::RehearsalTiming{}, std::chrono::steady_clock::now());
  rehearsed_by_ = who;
  is_rehearsal_ended_ = false;
  spdlog::info("{}: {} rehearses the trip", settings_->title, who);
  rehearse_on();
  return {};
}

void UnitSession::rehearse_on() {
  if (!rehearsal_ || is_rehearsal_ended_) return;
  if (rehearsal_->is_over()) return end_rehearsal();  // by a reading
  const auto now = std::chrono::steady_clock::now();
  if (!run_ || run_->engine->is_over()) {
    rehearsal_->abort("the run ended", now);
    return end_rehearsal();
  }
  const auto as_person = [&](soak::ActKind kind) { feed({.kind = kind, .who = rehearsed_by_, .why = "trip rehearsal"}); };
  switch (rehearsal_->next_order()) {
    case outlet::Rehearsal::Order::none: break;
    case outlet::Rehearsal::Order::open_unit: as_person(soak::ActKind::pause); break;
    case outlet::Rehearsal::Order::close_unit: as_person(soak::ActKind::go_on); break;
    case outlet::Rehearsal::Order::open_bench:
      rehearses_contactor_ = true;
      as_person(soak::ActKind::pause);
      break;
    case outlet::Rehearsal::Order::close_bench: as_person(soak::ActKind::go_on); break;
  }
  write_if_due();
  rehearsal_->advance(now);
  links_.read_proof_soon();
  if (rehearsal_->is_over()) end_rehearsal();
}

void UnitSession::end_rehearsal() {
  is_rehearsal_ended_ = true;
  const bool is_passed = rehearsal_->step() == outlet::Rehearsal::Step::passed;
  if (rehearsal_->has_contactor_failed() || (is_passed && rehearses_contactor_)) links_.contactor_rehearsed(is_passed, rehearsal_->text());
  rehearses_contactor_ = false;
  if (rehearsal_->has_relay_failed()) mark_relay_defective("the rehearsal failed: " + rehearsal_->text());
  if (!is_passed && run_ && run_->engine->power() == soak::Power::on) feed({.kind = soak::ActKind::pause, .who = rehearsed_by_, .why = "the rehearsal failed"});
  if (is_passed && keeper_.is_unproven()) {
    keeper_.proven();
    links_.remember("contact", {{"output", settings_->name + ".outlet"}, {"is_defective", false}, {"is_unproven", false}, {"why", "rehearsed"}});
  }
  links_.remember("rehearsal", {{"bench", settings_->bench}, {"unit", settings_->name}, {"is_passed", is_passed}, {"text", rehearsal_->text()}, {"who", rehearsed_by_},
                                {"has_contactor_failed", rehearsal_->has_contactor_failed()}});
  spdlog::log(is_passed ? spdlog::level::info : spdlog::level::err, "{}: rehearsal {}: {}", settings_->title, is_passed ? "passed" : "FAILED", rehearsal_->text());
  write_if_due();
}

void UnitSession::restore_contact(bool is_defective, bool is_unproven, const std::string& why) {
  if (!is_defective && !is_unproven) return;
  keeper_.mark_defective(why);
  if (!is_defective) (void)keeper_.repaired("journal");
}

void UnitSession::restore_lock(const std::string& why) {
  if (!settings_->outlet) return;
  keeper_.open(why, true);
  is_lock_remembered_ = true;
}

void UnitSession::remember_lock() {
  if (!settings_->outlet || keeper_.is_locked() == is_lock_remembered_) return;
  is_lock_remembered_ = keeper_.is_locked();
  links_.remember("interlock", {{"output", settings_->name + ".outlet"}, {"is_locked", is_lock_remembered_}, {"why", keeper_.reason()}});
}

Result<void> UnitSession::repaired(const std::string& who, const std::string& note) {
  if (auto done = keeper_.repaired(who); !done) return done;
  links_.remember("contact", {{"output", settings_->name + ".outlet"}, {"is_defective", false}, {"is_unproven", true}, {"why", fmt::format("repaired, says {}: {}", who, note)}});
  return {};
}

void UnitSession::end_run_when_over(Timestamp now) {
  const soak::Engine& engine = *run_->engine;
  if (run_->is_end_stored || !engine.is_over()) return;
  if (now - engine.verdict()->at < cooling_recorded) return;
  run_->is_end_stored = true;
  run_->is_fed = false;
  store_.end_run(run_->id, utc_of(now));
}

}  // namespace steadyglow::app
