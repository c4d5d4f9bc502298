#include "http/json.hpp"

#include <nlohmann/json.hpp>

#include <optional>
#include <vector>

namespace steadyglow::http {
namespace {

using Json = nlohmann::ordered_json;

template <class View>
Json list(const std::vector<View>& views) {
  Json array = Json::array();
  for (const View& view : views) array.push_back(to_json(view));
  return array;
}

template <class View>
Json object_or_null(const std::optional<View>& view) {
  return view ? to_json(*view) : Json(nullptr);
}

Json number_or_null(const std::optional<double>& number) { return number ? Json(*number) : Json(nullptr); }

}  // namespace

Json to_json(const MeterView& meter) { return {{"name", meter.name}, {"state", meter.state}}; }

Json to_json(const BusView& bus) {
  return {{"name", bus.name},           {"where", bus.where},           {"state", bus.state},
          {"requests", bus.requests},   {"timeouts", bus.timeouts},     {"refusals", bus.refusals},
          {"garbage", bus.garbage},     {"reconnects", bus.reconnects}, {"overruns", bus.overruns},
          {"dropped_batches", bus.dropped_batches}, {"meters", list(bus.meters)}};
}

Json to_json(const StoreView& store) {
  return {{"state", store.state}, {"reason", store.reason}, {"queue", store.queue}, {"wal_bytes", store.wal_bytes}};
}

Json to_json(const StageView& stage) { return {{"kind", stage.kind}, {"planned_s", stage.planned_s}, {"state", stage.state}}; }

Json to_json(const SignatureView& signature) {
  return {{"who", signature.who}, {"word", signature.word}, {"why", signature.why}, {"time_s", signature.time_s}};
}

Json to_json(const VerdictView& verdict) {
  return {{"word", verdict.word}, {"is_proposed", verdict.is_proposed}, {"reasons", verdict.reasons}};
}

Json to_json(const InterruptionView& gap) { return {{"from_s", gap.from_s}, {"to_s", number_or_null(gap.to_s)}, {"why", gap.why}, {"is_planned", gap.is_planned}}; }

Json to_json(const SegmentView& segment) { return {{"number", segment.number}, {"from_s", segment.from_s}, {"points", segment.points}, {"why", segment.why}}; }

Json to_json(const PolicyView& policy) {
  return {{"set_by", policy.set_by},
          {"person_back_s", number_or_null(policy.person_back_s)},
          {"after_mains", policy.after_mains},
          {"on_forecast", policy.on_forecast},
          {"is_cut_when_stuck", policy.is_cut_when_stuck},
          {"wakes_for_forecast", policy.wakes_for_forecast}};
}

Json to_json(const RunView& run) {
  return {{"id", run.id},
          {"state", run.state},
          {"stage", run.stage},
          {"time_s", run.time_s},
          {"started_utc", run.started_utc},
          {"counted_s", run.counted_s},
          {"planned_s", run.planned_s},
          {"not_counting_because", run.not_counting_because},
          {"stages", list(run.stages)},
          {"verdict", object_or_null(run.verdict)},
          {"signature", object_or_null(run.signature)},
          {"power", run.power},
          {"is_unattended", run.is_unattended},
          {"policy", to_json(run.policy)},
          {"interruptions", list(run.interruptions)},
          {"segments", list(run.segments)}};
}

Json to_json(const OutletView& outlet) {
  return {{"state", outlet.state},
          {"proof", outlet.proof},
          {"proof_text", outlet.proof_text},
          {"is_interlocked", outlet.is_interlocked},
          {"is_defective", outlet.is_defective},
          {"bleed_text", outlet.bleed_text},
          {"reason", outlet.reason}};
}

Json to_json(const WorstView& worst) {
  return {{"point", worst.point}, {"share", worst.share},       {"limit", worst.limit},
          {"side", worst.side},   {"severity", worst.severity}, {"value", worst.value}};
}

Json to_json(const PointView& point) {
  return {{"name", point.name},
          {"quantity", point.quantity},
          {"uom", point.uom},
          {"shown_uom", point.shown_uom},
          {"role", point.role},
          {"value", number_or_null(point.value)},
          {"quality", point.quality},
          {"time_s", number_or_null(point.time_s)},
          {"age_s", number_or_null(point.age_s)},
          {"nominal", number_or_null(point.nominal)},
          {"warn_low", number_or_null(point.warn_low)},
          {"warn_high", number_or_null(point.warn_high)},
          {"trip_low", number_or_null(point.trip_low)},
          {"trip_high", number_or_null(point.trip_high)},
          {"baseline", number_or_null(point.baseline)},
          {"change_from_baseline_percent", number_or_null(point.change_from_baseline_percent)},
          {"settling", point.settling},
          {"slope_per_hour", number_or_null(point.slope_per_hour)},
          {"slope_low", number_or_null(point.slope_low)},
          {"slope_high", number_or_null(point.slope_high)}};
}

Json to_json(const UnitView& unit) {
  return {{"name", unit.name},
          {"title", unit.title},
          {"serial", unit.serial},
          {"bench", unit.bench},
          {"kind", unit.kind},
          {"plan", unit.plan},
          {"run", object_or_null(unit.run)},
          {"outlet", to_json(unit.outlet)},
          {"worst", object_or_null(unit.worst)},
          {"points", list(unit.points)}};
}

Json to_json(const AlarmView& alarm) {
  return {{"id", alarm.id},
          {"unit", alarm.unit},
          {"points", alarm.points},
          {"kind", alarm.kind},
          {"severity", alarm.severity},
          {"state", alarm.state},
          {"is_active", alarm.is_active},
          {"raised_s", alarm.raised_s},
          {"raised_utc", alarm.raised_utc},
          {"cleared_s", number_or_null(alarm.cleared_s)},
          {"acknowledged_by", alarm.acknowledged_by},
          {"message", alarm.message},
          {"priority", alarm.priority},
          {"cause", alarm.cause},
          {"shelved_until_s", number_or_null(alarm.shelved_until_s)},
          {"changed_by", alarm.changed_by},
          {"why", alarm.why}};
}

Json to_json(const SupplyView& bench) {
  const ContactorView& contactor = bench.contactor;
  const RehearsalView& rehearsal = bench.rehearsal;
  return {{"name", bench.name},
          {"contactor", {{"state", contactor.state}, {"is_defective", contactor.is_defective}, {"reason", contactor.reason}}},
          {"watchdog", {{"state", bench.watchdog.state}, {"reason", bench.watchdog.reason}}},
          {"rehearsal", {{"state", rehearsal.state}, {"unit", rehearsal.unit}, {"utc", rehearsal.utc}, {"who", rehearsal.who}, {"text", rehearsal.text}}},
          {"mains_volts", number_or_null(bench.mains_volts)},
          {"smoke", bench.smoke},
          {"amperes", bench.amperes},
          {"allowed_amperes", number_or_null(bench.allowed_amperes)},
          {"person_on_call", bench.person_on_call}};
}

Json to_json(const ToldView& told) { return {{"route", told.route}, {"person", told.person}, {"purpose", told.purpose}, {"utc", told.utc}, {"state", told.state}}; }

Json to_json(const IncidentView& incident) {
  return {{"id", incident.id},
          {"cause", incident.cause},
          {"cause_name", incident.cause_name},
          {"priority", incident.priority},
          {"is_standing", incident.is_standing},
          {"is_acknowledged", incident.is_acknowledged},
          {"acknowledged_by", incident.acknowledged_by},
          {"opened_utc", incident.opened_utc},
          {"title", incident.title},
          {"text", incident.text},
          {"units", incident.units},
          {"alarms", incident.alarms},
          {"told", list(incident.told)}};
}

Json to_json(const RouteView& route) {
  return {{"name", route.name},       {"kind", route.kind},       {"where", route.where}, {"state", route.state},
          {"reason", route.reason},   {"waiting", route.waiting}, {"last_delivered_utc", route.last_delivered_utc}};
}

Json to_json(const NotifyView& notify) {
  return {{"routes", list(notify.routes)}, {"heartbeat", {{"state", notify.heartbeat}, {"reason", notify.heartbeat_reason}}}};
}

Json to_json(const AlarmFiguresView& figures) {
  return {{"hours", figures.hours},
          {"per_hour", figures.per_hour},
          {"per_10_min", figures.per_10_min},
          {"most_in_10_min", figures.most_in_10_min},
          {"flood_share", figures.flood_share},
          {"flood", figures.is_flood},
          {"standing_over_24_h", figures.standing_over_24_h},
          {"chattering", figures.chattering},
          {"split", {{"low", figures.low}, {"medium", figures.medium}, {"high", figures.high}, {"highest", figures.highest}}},
          {"shelved", figures.shelved}};
}

Json to_json(const BenchView& bench) {
  return {{"version", bench.version},
          {"utc", bench.utc},
          {"clock_rate", bench.clock_rate},
          {"is_accelerated", bench.is_accelerated},
          {"store", to_json(bench.store)},
          {"buses", list(bench.buses)},
          {"units", list(bench.units)},
          {"alarms", list(bench.alarms)},
          {"benches", list(bench.benches)},
          {"incidents", list(bench.incidents)},
          {"alarm_figures", to_json(bench.alarm_figures)},
          {"notify", to_json(bench.notify)}};
}

Json to_json(const Error& error) { return {{"error", error.message}, {"hint", error.hint}}; }

std::string to_line(const Json& json) { return json.dump(-1, ' ', false, Json::error_handler_t::replace); }
std::string to_line(const nlohmann::json& json) { return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace); }

}  // namespace steadyglow::http
