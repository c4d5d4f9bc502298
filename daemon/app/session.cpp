#include "app/session.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>

#include "http/json.hpp"
#include "soak/finding_json.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

Json verdict_json(const soak::Verdict& verdict) {
  return {{"time_s", seconds_of(verdict.at)}, {"word", soak::to_word(verdict.word)}, {"is_proposed", true}, {"reasons", verdict.reasons}};
}

}  // namespace

UnitSession::UnitSession(const UnitSettings& settings, double clock_rate, store::Store& store, SessionLinks links)
    : settings_(&settings), clock_rate_(clock_rate), store_(store), links_(std::move(links)), latest_(settings.profile.points.size()) {}

// ---- inputs ----------------------------------------------------------------------------------------------------

void UnitSession::take(const acquire::MeterBatch& batch) {
  std::vector<Reading> readings;
  // Two batches never share a moment, and none is older than what was judged before it: a recording of this run
  // then has one row per batch and replays to the same.
  Timestamp at{};
  if (run_) at = std::max(run_->time.at(batch.taken_at), run_->last_fed + Duration{1});
  for (const PointBinding& binding : settings_->points) {
    if (binding.bus != batch.bus || binding.meter != batch.meter) continue;
    if (binding.channel >= batch.reply.channels.size()) continue;
    const drivers::ChannelValue& channel = batch.reply.channels[binding.channel];
    const double value = channel.value * binding.factor;
    latest_[binding.point.index] = {value, channel.quality, batch.taken_at, true};
    readings.push_back(Reading::of(binding.point, at, value, channel.quality));
  }
  if (readings.empty() || !run_ || !run_->is_fed) return;
  std::sort(readings.begin(), readings.end(), [](const Reading& a, const Reading& b) { return a.point() < b.point(); });
  run_->last_fed = at;
  const auto events = run_->engine->take(readings);
  hear(events);
  store_.append_readings(run_->id, at, readings);
  last_moved_ = batch.taken_at;
  end_run_when_over(at);
}

void UnitSession::tick(Boottime now) {
  if (run_ && run_->is_fed) {
    const Timestamp second = at_ms(ms_of(run_->time.at(now)) / 1000 * 1000);
    if (second > run_->last_fed) {
      run_->last_fed = second;
      hear(run_->engine->advance(second));
      end_run_when_over(second);
    }
    last_moved_ = now;
  }
  write_if_due();
}

Result<void> UnitSession::start(const std::string& who, bool is_at_the_bench) {
  if (who.empty()) return fail(Fault::usage, "nobody's name is given", "say who starts it");
  if (run_ && !run_->engine->is_over()) return fail(Fault::usage, "a run of this unit is going on", "stop it first");
  if (run_ && draws_power().value_or(false) && run_->engine->off_state() == soak::OffWatch::State::failed)
    return fail(Fault::permission, "the outlet was ordered off and the unit still draws power", "unplug it, and have the relay looked at by a qualified person");
  if (settings_->outlet) {
    if (auto closed = keeper_.close(who, is_at_the_bench); !closed) return closed;
  }
  Run run;
  run.started_utc = utc_label(utc_now_ms());
  const Boottime now = boottime_now();
  run.time = RunTime(now, clock_rate_);
  run.engine = std::make_unique<soak::Engine>(settings_->profile, settings_->plan);
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
  run_ = std::move(run);
  last_moved_ = now;
  spdlog::info("{}: run {} started by {}", settings_->title, run_->id, who);
  write_if_due();
  return {};
}

Result<void> UnitSession::stop(const std::string& who, const std::string& why) {
  if (who.empty()) return fail(Fault::usage, "nobody's name is given", "say who stops it");
  if (run_ && run_->engine->power() == soak::Power::on) {
    const Timestamp at = run_->last_fed + Duration{1};
    run_->last_fed = at;
    const Json json{{"who", who}, {"why", why}};
    hear(run_->engine->stop(at, who, why));
    store_.append_input(run_->id, at, "stop", json.dump());
  } else if (settings_->outlet) {
    keeper_.open(fmt::format("{} ordered it off", who), false);
  }
  write_if_due();
  return {};
}

bool UnitSession::owns_alarm(std::int64_t alarm) const { return run_ && alarm / alarms_per_run == run_->id; }

Result<http::AlarmView> UnitSession::acknowledge(std::int64_t alarm, const std::string& who, const std::string& note) {
  if (who.empty()) return fail(Fault::usage, "nobody's name is given", "say who acknowledges it");
  const std::int64_t local = alarm % alarms_per_run;
  const auto& records = run_->engine->book().alarms();
  const auto found = [&] { return std::find_if(records.begin(), records.end(), [&](const auto& r) { return r.id == local; }); };
  if (found() == records.end()) return fail(Fault::bad_data, fmt::format("there is no alarm {}", alarm));
  if (!alarm::needs_person(found()->alarm.state)) return fail(Fault::usage, "this alarm is acknowledged already");
  const Timestamp at = run_->last_fed + Duration{1};
  run_->last_fed = at;
  hear(run_->engine->acknowledge(at, local, who, note));
  store_.append_input(run_->id, at, "acknowledge", Json{{"alarm", local}, {"who", who}, {"note", note}}.dump());
  return alarm_view(*found());
}

// ---- after a restart -------------------------------------------------------------------------------------------

Result<void> UnitSession::recover(store::StoreReader& reader, const store::RunRow& row) {
  if (row.profile_text != settings_->profile_text || row.plan_text != settings_->plan_text)
    return fail(Fault::config, fmt::format("run {} was started with another profile or plan", row.id), "it is closed; its readings stay in the store");
  Run run;
  run.id = row.id;
  run.started_utc = row.started_utc;
  run.engine = std::make_unique<soak::Engine>(settings_->profile, settings_->plan);
  std::uint64_t inputs = 0;
  const auto refeed = [&](const store::InputRow& input) {
    ++inputs;
    run.last_fed = std::max(run.last_fed, input.at);
    if (!input.readings.empty()) {
      run.engine->take(input.readings);
      return;
    }
    const Json json = Json::parse(input.json, nullptr, false);
    if (json.is_discarded()) return;
    if (input.kind == "stop") run.engine->stop(input.at, json.value("who", ""), json.value("why", ""));
    if (input.kind == "resume") run.engine->resume(input.at, json.value("why", ""));
    if (input.kind == "acknowledge") run.engine->acknowledge(input.at, json.value("alarm", std::int64_t{0}), json.value("who", ""), json.value("note", ""));
  };
  const std::uint64_t damaged_before = reader.damage().rows;
  if (auto fed = reader.for_each_input(row.id, refeed); !fed) return fed;
  if (const auto damaged = reader.damage().rows - damaged_before; damaged > 0)
    spdlog::error("{}: {} stored rows of run {} are damaged and were left out", settings_->title, damaged, row.id);

  const bool is_same_boot = row.boot_id == boot_id();
  const Boottime now = boottime_now();
  Boottime started{std::chrono::milliseconds{row.started_boottime_ms}};
  if (!is_same_boot) started = now - std::chrono::milliseconds{std::max<std::int64_t>(0, utc_now_ms() - utc_from_label(row.started_utc))};
  run.time = RunTime(started, clock_rate_);
  const Timestamp back_at = std::max(run.time.at(now), run.last_fed + Duration{1});
  const std::string why = fmt::format("the daemon was not running for {:.1f} min{}", minutes_of(back_at - run.last_fed), is_same_boot ? "" : ", and the machine was restarted");
  run.last_fed = back_at;
  run_ = std::move(run);
  last_moved_ = now;
  spdlog::info("{}: run {} taken up again from {} stored inputs; {}", settings_->title, row.id, inputs, why);
  hear(run_->engine->resume(back_at, why));
  store_.append_input(row.id, back_at, "resume", Json{{"why", why}}.dump());
  // Whatever the relay did meanwhile: a unit that was to be off is ordered off again. None is switched on.
  if (run_->engine->power() != soak::Power::on) keeper_.open(run_->engine->off_reason(), run_->engine->power() == soak::Power::tripped);
  write_if_due();
  return {};
}

// ---- outputs ---------------------------------------------------------------------------------------------------

void UnitSession::hear(std::span<const soak::Event> events) {
  // Orders first: nothing waits for disk or network on the way to the relay.
  for (const soak::Event& event : events)
    if (const auto* order = std::get_if<soak::OpenOutlet>(&event)) keeper_.open(order->reason, order->is_trip);
  write_if_due();
  for (const soak::Event& event : events) std::visit([this](const auto& one) { hear_one(one); }, event);
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
    else if (on && run_ && run_->engine->power() == soak::Power::on) (void)stop("steadyglowd", "the relay did not accept the switch-on");
    write_if_due();
  });
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
