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

Json to_json(const VerdictView& verdict) {
  return {{"word", verdict.word}, {"is_proposed", verdict.is_proposed}, {"reasons", verdict.reasons}};
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
          {"verdict", object_or_null(run.verdict)}};
}

Json to_json(const OutletView& outlet) {
  return {{"state", outlet.state},
          {"proof", outlet.proof},
          {"proof_text", outlet.proof_text},
          {"is_interlocked", outlet.is_interlocked},
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
          {"message", alarm.message}};
}

Json to_json(const BenchView& bench) {
  return {{"version", bench.version},
          {"utc", bench.utc},
          {"clock_rate", bench.clock_rate},
          {"is_accelerated", bench.is_accelerated},
          {"store", to_json(bench.store)},
          {"buses", list(bench.buses)},
          {"units", list(bench.units)},
          {"alarms", list(bench.alarms)}};
}

Json to_json(const Error& error) { return {{"error", error.message}, {"hint", error.hint}}; }

std::string to_line(const Json& json) { return json.dump(-1, ' ', false, Json::error_handler_t::replace); }
std::string to_line(const nlohmann::json& json) { return json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace); }

}  // namespace steadyglow::http
