#pragma once
/// A bench at one moment, with one of everything that can be there.
#include "http/view.hpp"

namespace steadyglow::http {

inline PointView sample_point(std::string name, std::string quantity, std::string uom, double value) {
  PointView point;
  point.name = std::move(name);
  point.quantity = std::move(quantity);
  point.uom = point.shown_uom = std::move(uom);
  point.role = "other";
  point.value = value;
  point.quality = "good";
  point.time_s = 12344.0;
  point.age_s = 1.0;
  return point;
}

inline UnitView sample_unit() {
  UnitView unit;
  unit.name = "brindlecombe35";
  unit.title = "Brindlecombe 35";
  unit.serial = "B35-0117";
  unit.bench = "bench 1";
  unit.kind = "tube-pp-fixed-bias";
  unit.plan = "24 h night";
  RunView run;
  run.id = 3;
  run.stage = "idle_soak";
  run.time_s = 12345.0;
  run.started_utc = "2026-01-01T00:00:00Z";
  run.counted_s = 7000.0;
  run.planned_s = 81000.0;
  run.stages = {{"warm_up", 3600.0, "done"}, {"baseline", 1800.0, "done"}, {"idle_soak", 81000.0, "now"}};
  run.verdict = VerdictView{"pass", false, {"every hour counted"}};
  run.signature = SignatureView{"Ada", "pass", "", 90000.0};
  run.interruptions.emplace_back();
  run.segments.emplace_back();
  unit.run = run;
  unit.outlet.state = "on";
  unit.worst = WorstView{"v1_cathode_mv", 0.72, 460.0, "high", "warn", 437.6};
  PointView bias = sample_point("v1_cathode_mv", "voltage", "mV", 437.6);
  bias.role = "bias";
  bias.nominal = 380.0;
  bias.warn_low = 300.0;
  bias.warn_high = 460.0;
  bias.trip_high = 570.0;
  bias.baseline = 379.6;
  bias.change_from_baseline_percent = 15.3;
  bias.settling = "settled";
  bias.slope_per_hour = 0.4;
  bias.slope_low = -0.1;
  bias.slope_high = 0.9;
  PointView lost = sample_point("v2_cathode_mv", "voltage", "mV", 0.0);
  lost.value.reset();
  lost.quality = "contact_lost";
  unit.points = {bias, lost, sample_point("heatsink_celsius", "temperature", "Cel", 54.25), sample_point("mains_current", "current", "mA", 812.5),
                 sample_point("platter_speed", "speed", "{rpm}", 33.3), sample_point("mains_power", "power", "W", 118.5),
                 sample_point("mains_apparent", "power", "V.A", 131.0), sample_point("wow", "ratio", "%", 0.12),
                 sample_point("left_level", "ratio", "dB", -3.1), sample_point("used", "energy", "W.h", 402.0), sample_point("load", "resistance", "Ohm", 8.02), sample_point("lid", "state", "1", 0.0)};
  return unit;
}

inline AlarmView sample_alarm() {
  AlarmView alarm;
  alarm.id = 7;
  alarm.unit = "brindlecombe35";
  alarm.points = {"v1_cathode_mv"};
  alarm.kind = "limit";
  alarm.severity = "warn";
  alarm.state = "unacknowledged";
  alarm.is_active = true;
  alarm.raised_s = 9650.0;
  alarm.raised_utc = "2026-01-01T02:40:50Z";
  alarm.message = "the bias of V1 stands above its limit";
  return alarm;
}

inline BenchView sample_bench() {
  BenchView bench;
  bench.version = "0.1.0";
  bench.utc = "2026-01-01T03:25:45Z";
  BusView bus;
  bus.name = "bench_tcp";
  bus.where = "127.0.0.1:1502";
  bus.requests = 4711;
  bus.timeouts = 3;
  bus.overruns = 2;
  bus.meters = {{"analog_a", "ok"}, {"relays", "silent"}};
  bench.buses = {bus};
  bench.units = {sample_unit()};
  bench.alarms = {sample_alarm()};
  return bench;
}

}  // namespace steadyglow::http
