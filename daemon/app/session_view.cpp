/// What the outside sees of a unit.
#include <fmt/format.h>

#include <cmath>
#include <set>

#include "app/session.hpp"
#include "soak/finding_json.hpp"

namespace steadyglow::app {

std::string UnitSession::utc_of(Timestamp at) const {
  return utc_label(utc_from_label(run_->started_utc) + static_cast<std::int64_t>(static_cast<double>(ms_of(at)) / clock_rate_));
}

std::optional<bool> UnitSession::draws_power() const {
  for (const auto role : {profile::Role::mains_current, profile::Role::mains_power}) {
    const auto point = settings_->profile.first_of(role);
    if (!point) continue;
    const Latest& latest = latest_[point->index];
    if (!latest.is_seen || latest.quality != Quality::good) return std::nullopt;
    const double base = std::fabs(latest.value * settings_->profile.point(*point).uom.to_base);
    return base >= (role == profile::Role::mains_current ? soak::off_amperes : soak::off_watts);
  }
  return std::nullopt;
}

std::optional<double> UnitSession::amperes() const {
  const auto current = settings_->profile.first_of(profile::Role::mains_current);
  const auto power = settings_->profile.first_of(profile::Role::mains_power);
  const auto in_base = [&](std::optional<PointId> point) -> std::optional<double> {
    if (!point || !latest_[point->index].is_seen || latest_[point->index].quality != Quality::good) return std::nullopt;
    return std::fabs(latest_[point->index].value * settings_->profile.point(*point).uom.to_base);
  };
  if (const auto amps = in_base(current)) return amps;
  const auto watts = in_base(power);
  if (!watts) return std::nullopt;
  return *watts / mains_volts_assumed();
}

double UnitSession::mains_volts_assumed() const {
  constexpr double usual_volts = 230.0;
  if (const auto point = settings_->profile.first_of(profile::Role::mains_voltage)) {
    const Latest& latest = latest_[point->index];
    if (latest.is_seen && latest.quality == Quality::good && latest.value > 0.0) return latest.value * settings_->profile.point(*point).uom.to_base;
  }
  return settings_->profile.mains_nominal ? settings_->profile.mains_nominal->value : usual_volts;
}

std::optional<double> UnitSession::amperes_expected() const {
  if (is_powered())
    if (const auto now = amperes()) return now;
  if (last_amperes_) return last_amperes_;
  for (const auto role : {profile::Role::mains_current, profile::Role::mains_power}) {
    const auto point = settings_->profile.first_of(role);
    if (!point || !settings_->profile.point(*point).nominal) continue;
    const double base = *settings_->profile.point(*point).nominal * settings_->profile.point(*point).uom.to_base;
    return role == profile::Role::mains_current ? base : base / mains_volts_assumed();
  }
  return std::nullopt;
}

bool UnitSession::draws_power_since(Boottime since) const {
  for (const auto role : {profile::Role::mains_current, profile::Role::mains_power}) {
    const auto point = settings_->profile.first_of(role);
    if (!point) continue;
    return latest_[point->index].taken_at > since && draws_power().value_or(false);
  }
  return false;
}

bool UnitSession::was_attended_for(Duration time) const {
  return run_ && run_->engine->power() != soak::Power::tripped && run_->engine->now() >= Timestamp{} + time;
}

const soak::Policy& UnitSession::policy() const {
  static const soak::Policy none;
  return run_ ? run_->engine->policy() : none;
}

notify::UnitSituation UnitSession::situation() const {
  notify::UnitSituation now;
  now.name = settings_->name;
  now.title = settings_->title;
  now.bench = settings_->bench;
  if (!run_) return now;
  const soak::Engine& engine = *run_->engine;
  if (engine.power() != soak::Power::on) {
    switch (engine.off_state()) {
      case soak::OffWatch::State::none: now.off = notify::Off::unprovable; break;
      case soak::OffWatch::State::waiting: now.off = engine.is_unprovable() ? notify::Off::unprovable : notify::Off::waiting; break;
      case soak::OffWatch::State::proven: now.off = notify::Off::proven; break;
      case soak::OffWatch::State::failed: now.off = notify::Off::failed; break;
    }
    now.off_text = engine.off_text();
    now.bleed_text = engine.bleed_text();
  }
  now.surroundings = engine.surroundings_now();
  std::set<Quality> qualities;
  for (std::size_t i = 0; i < settings_->profile.points.size(); ++i) {
    const PointNow point = point_now(PointId{static_cast<std::uint16_t>(i)});
    qualities.insert(point.quality);
    if (point.quality != Quality::good) now.doubts.push_back(fmt::format("{} ({})", settings_->profile.points[i].name, to_word(point.quality)));
  }
  // A list of all of them is read by nobody at night.
  if (now.doubts.size() > 1 && qualities.size() == 1) now.doubts = {fmt::format("none of its {} points can be read ({})", now.doubts.size(), to_word(*qualities.begin()))};
  return now;
}

UnitSession::PointNow UnitSession::point_now(PointId id) const {
  const Latest& latest = latest_[id.index];
  PointNow now;
  if (!latest.is_seen) return now;
  now.quality = run_ && run_->engine->points()[id.index].is_contact_lost() ? Quality::contact_lost : latest.quality;
  now.value = latest.value;
  now.age_s = std::chrono::duration<double>(boottime_now() - latest.taken_at).count() * clock_rate_;
  return now;
}

http::AlarmView UnitSession::alarm_view(const soak::AlarmRecord& record) const {
  http::AlarmView view;
  view.id = run_->id * alarms_per_run + record.id;
  view.unit = settings_->name;
  for (const PointId point : record.finding.points) view.points.push_back(settings_->profile.point(point).name);
  view.kind = soak::to_word(record.finding.kind);
  view.severity = soak::to_word(record.finding.severity);
  view.state = alarm::to_word(record.alarm.state);
  view.is_active = record.alarm.is_condition_true;
  view.raised_s = seconds_of(record.raised_at);
  view.raised_utc = utc_of(record.raised_at);
  if (record.cleared_at) view.cleared_s = seconds_of(*record.cleared_at);
  view.acknowledged_by = record.acknowledged_by;
  view.message = record.finding.message;
  view.priority = alarm::to_word(record.priority);
  view.cause = alarm::to_word(record.cause);
  if (record.shelved_until) view.shelved_until_s = seconds_of(*record.shelved_until);
  view.changed_by = record.changed_by;
  view.why = record.why;
  return view;
}

std::vector<http::AlarmView> UnitSession::alarms() const {
  std::vector<http::AlarmView> views;
  if (!run_) return views;
  for (const auto& record : run_->engine->book().alarms())
    if (record.alarm.state != alarm::State::normal) views.push_back(alarm_view(record));
  return views;
}

nlohmann::json UnitSession::findings() const {
  nlohmann::json json{{"run", nullptr}, {"findings", nlohmann::json::array()}};
  if (!run_) return json;
  json["run"] = run_->id;
  for (const soak::Finding& finding : run_->engine->book().history()) json["findings"].push_back(nlohmann::json(soak::to_json(finding, settings_->profile)));
  return json;
}

http::OutletView UnitSession::outlet_view() const {
  http::OutletView view;
  view.state = "unknown";
  view.proof = "none";
  view.reason = keeper_.reason();
  view.is_interlocked = keeper_.is_locked();
  view.is_defective = keeper_.is_defective();
  if (run_) view.bleed_text = run_->engine->bleed_text();
  const auto draws = draws_power();
  if (keeper_.wanted() == outlet::Wanted::on && keeper_.is_accepted()) view.state = "on";
  if (keeper_.wanted() == outlet::Wanted::off && keeper_.is_accepted()) view.state = "off";
  // What flows says more than what was ordered.
  if (draws && *draws) view.state = "on";
  if (!run_ || run_->engine->power() == soak::Power::on) return view;
  view.proof_text = run_->engine->off_text();
  switch (run_->engine->off_state()) {
    case soak::OffWatch::State::none: break;
    case soak::OffWatch::State::waiting: view.proof = "waiting"; break;
    case soak::OffWatch::State::proven: view.proof = "proven"; break;
    case soak::OffWatch::State::failed: view.proof = "failed"; break;
  }
  return view;
}

std::optional<http::RunView> UnitSession::run_view() const {
  if (!run_) return std::nullopt;
  const soak::Engine& engine = *run_->engine;
  const soak::Stages& stages = engine.stages();
  http::RunView view;
  view.id = run_->id;
  view.state = engine.is_over() ? "ended" : "running";
  view.time_s = seconds_of(engine.now());
  view.started_utc = run_->started_utc;
  view.counted_s = seconds_of(stages.counted());
  view.planned_s = seconds_of(stages.plan().counted_planned());
  view.not_counting_because = engine.why_not_counting();
  view.stage = stages.is_done() ? "done" : std::string(profile::to_word(stages.current()->kind));
  for (std::size_t i = 0; i < stages.plan().stages.size(); ++i) {
    const auto& stage = stages.plan().stages[i];
    view.stages.push_back({std::string(profile::to_word(stage.kind)), seconds_of(stage.planned), i < stages.index() ? "done" : i == stages.index() ? "now" : "ahead"});
  }
  view.power = soak::to_word(engine.power());
  const soak::Policy& policy = engine.policy();
  view.is_unattended = policy.is_unattended;
  view.policy.set_by = policy.set_by;
  if (policy.person_back_at) view.policy.person_back_s = seconds_of(*policy.person_back_at);
  view.policy.after_mains = policy.after_mains == soak::AfterMains::staged ? "staged" : "stay_off";
  view.policy.on_forecast = policy.on_forecast == soak::OnForecast::cut ? "cut" : "tell";
  view.policy.is_cut_when_stuck = policy.is_cut_when_stuck;
  view.policy.wakes_for_forecast = policy.wakes_for_forecast;
  for (const auto& gap : engine.interruptions())
    view.interruptions.push_back({seconds_of(gap.from), gap.to ? std::optional(seconds_of(*gap.to)) : std::nullopt, gap.why, gap.is_planned});
  for (const auto& segment : engine.segments()) {
    http::SegmentView shown{segment.number, seconds_of(segment.at), {}, segment.why};
    for (const PointId point : segment.points) shown.points.push_back(settings_->profile.point(point).name);
    view.segments.push_back(std::move(shown));
  }
  if (engine.verdict()) view.verdict = http::VerdictView{std::string(soak::to_word(engine.verdict()->word)), !engine.signature(), engine.verdict()->reasons};
  if (const auto& signature = engine.signature()) view.signature = http::SignatureView{signature->who, signature->word, signature->note, seconds_of(signature->at)};
  return view;
}

http::PointView UnitSession::point_view(PointId id) const {
  const profile::Point& point = settings_->profile.point(id);
  const Latest& latest = latest_[id.index];
  http::PointView view;
  view.name = point.name;
  view.quantity = to_word(point.quantity);
  view.uom = point.uom.symbol;
  view.shown_uom = point.uom.shown;
  view.role = profile::to_word(point.role);
  view.nominal = point.nominal;
  view.warn_low = point.warn.low;
  view.warn_high = point.warn.high;
  view.trip_low = point.trip.low;
  view.trip_high = point.trip.high;
  Quality quality = latest.quality;
  if (run_) {
    const soak::PointWatch& watch = run_->engine->points()[id.index];
    if (watch.is_contact_lost()) quality = Quality::contact_lost;
    if (const auto baseline = watch.baseline()) {
      view.baseline = baseline->raw_level;
      const auto level = watch.recent_level(std::chrono::minutes{15});
      if (level && watch.expectation().is_relative && baseline->level != 0.0) view.change_from_baseline_percent = 100.0 * (*level / baseline->level - 1.0);
    }
    const bool is_weather = point.role == profile::Role::mains_voltage || point.role == profile::Role::mains_current || point.role == profile::Role::ambient;
    if (!is_weather) view.settling = analysis::settling_text(watch.settling);
    if (watch.trend) {
      view.slope_per_hour = watch.trend->fit.slope;
      view.slope_low = watch.trend->fit.slope_low;
      view.slope_high = watch.trend->fit.slope_high;
    }
  }
  view.quality = to_word(quality);
  if (!latest.is_seen) return view;
  view.age_s = std::chrono::duration<double>(boottime_now() - latest.taken_at).count() * clock_rate_;
  if (run_) view.time_s = seconds_of(run_->time.at(latest.taken_at));
  if (quality == Quality::good) view.value = latest.value;
  return view;
}

std::optional<http::WorstView> UnitSession::worst(const std::vector<http::PointView>& points) const {
  std::optional<http::WorstView> worst;
  const auto weigh = [&](const http::PointView& point, std::optional<double> limit, const char* side, const char* severity) {
    if (!limit || !point.value) return;
    // Without a nominal the way to a limit begins at zero, and at 20 degC for a temperature.
    const double from = point.nominal.value_or(point.quantity == "temperature" ? 20.0 : 0.0);
    if (*limit == from) return;
    const double share = (*point.value - from) / (*limit - from);
    if (share < 0.0 || (worst && share <= worst->share)) return;
    worst = http::WorstView{point.name, share, *limit, side, severity, *point.value};
  };
  // Ordered off is not off: while current flows, what stands nearest to a limit matters most.
  const bool is_live = run_ && (run_->engine->power() == soak::Power::on || draws_power().value_or(false));
  if (!is_live) return worst;
  for (const http::PointView& point : points) {
    weigh(point, point.warn_high, "high", "warn");
    weigh(point, point.warn_low, "low", "warn");
    if (!point.warn_high) weigh(point, point.trip_high, "high", "trip");
    if (!point.warn_low) weigh(point, point.trip_low, "low", "trip");
  }
  return worst;
}

http::UnitView UnitSession::view() const {
  http::UnitView view;
  view.name = settings_->name;
  view.title = settings_->title;
  view.serial = settings_->serial;
  view.bench = settings_->bench;
  view.kind = settings_->profile.kind;
  view.plan = settings_->plan.title;
  view.run = run_view();
  view.outlet = outlet_view();
  for (std::size_t i = 0; i < settings_->profile.points.size(); ++i) view.points.push_back(point_view(PointId{static_cast<std::uint16_t>(i)}));
  view.worst = worst(view.points);
  return view;
}

}  // namespace steadyglow::app
