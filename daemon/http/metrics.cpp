#include "http/metrics.hpp"

#include <prometheus/metric_family.h>
#include <prometheus/text_serializer.h>

#include <array>
#include <cmath>
#include <map>
#include <set>
#include <string_view>
#include <tuple>
#include <utility>
#include <vector>

namespace steadyglow::http {
namespace {

using Labels = std::vector<std::pair<const char*, std::string>>;

/// Families in the order of their first series; a family without a series is not written.
class Page {
 public:
  void gauge(const char* name, const char* help, Labels labels, double value) { add(prometheus::MetricType::Gauge, name, help, std::move(labels), value); }
  void counter(const char* name, const char* help, Labels labels, double value) { add(prometheus::MetricType::Counter, name, help, std::move(labels), value); }
  void gauge(const char* name, const char* help, Labels labels, const std::optional<double>& value) {
    if (value) gauge(name, help, std::move(labels), *value);
  }
  void counter(const char* name, const char* help, Labels labels, const std::optional<double>& value) {
    if (value) counter(name, help, std::move(labels), *value);
  }
  /// One series per word, 1 for the one that holds and 0 for the others.
  template <class Words>
  void one_of(const char* name, const char* help, const Labels& labels, const char* label, const Words& words, std::string_view now) {
    for (const auto& word : words) {
      Labels all = labels;
      all.emplace_back(label, std::string(word));
      gauge(name, help, std::move(all), word == now ? 1.0 : 0.0);
    }
  }
  std::string text() const { return prometheus::TextSerializer{}.Serialize(families_); }

 private:
  void add(prometheus::MetricType type, const char* name, const char* help, Labels labels, double value) {
    if (!std::isfinite(value)) return;
    const auto [place, is_new] = places_.try_emplace(name, families_.size());
    if (is_new) families_.push_back({name, help, type, {}});
    prometheus::ClientMetric metric;
    for (auto& [label, text] : labels) metric.label.push_back({label, std::move(text)});
    if (type == prometheus::MetricType::Counter) metric.counter.value = value;
    else metric.gauge.value = value;
    families_[place->second].metric.push_back(std::move(metric));
  }
  std::vector<prometheus::MetricFamily> families_;
  std::map<std::string_view, std::size_t> places_;
};

/// Where a uom goes: the metric of its base unit, and the factor to it.
struct Base {
  std::string_view uom;
  const char* metric;
  const char* help;
  double factor;
};

constexpr const char* volts_help = "Reading of a point in volts.";
constexpr const char* amperes_help = "Reading of a point in amperes.";
constexpr const char* watts_help = "Reading of a point in watts.";
constexpr const char* hertz_help = "Reading of a point in hertz (speed: revolutions per second).";
constexpr const char* joules_help = "Reading of a point in joules.";
constexpr const char* ohms_help = "Reading of a point in ohms.";
constexpr const char* ratio_help = "Reading of a point as a plain number (1 is 100 %).";

/// Every uom of core/uom.cpp.
constexpr std::array bases{
    Base{"uV", "steadyglow_point_volts", volts_help, 1e-6},       Base{"mV", "steadyglow_point_volts", volts_help, 1e-3},
    Base{"V", "steadyglow_point_volts", volts_help, 1.0},         Base{"kV", "steadyglow_point_volts", volts_help, 1e3},
    Base{"uA", "steadyglow_point_amperes", amperes_help, 1e-6},   Base{"mA", "steadyglow_point_amperes", amperes_help, 1e-3},
    Base{"A", "steadyglow_point_amperes", amperes_help, 1.0},     Base{"mW", "steadyglow_point_watts", watts_help, 1e-3},
    Base{"W", "steadyglow_point_watts", watts_help, 1.0},         Base{"kW", "steadyglow_point_watts", watts_help, 1e3},
    Base{"V.A", "steadyglow_point_volt_amperes", "Reading of a point in volt-amperes (apparent power).", 1.0},
    Base{"Cel", "steadyglow_point_celsius", "Reading of a point in degrees Celsius.", 1.0},
    Base{"Hz", "steadyglow_point_hertz", hertz_help, 1.0},        Base{"kHz", "steadyglow_point_hertz", hertz_help, 1e3},
    Base{"{rpm}", "steadyglow_point_hertz", hertz_help, 1.0 / 60.0},
    Base{"%", "steadyglow_point_ratio", ratio_help, 0.01},        Base{"1", "steadyglow_point_ratio", ratio_help, 1.0},
    Base{"dB", "steadyglow_point_decibels", "Reading of a point in decibels.", 1.0},
    Base{"J", "steadyglow_point_joules", joules_help, 1.0},       Base{"kJ", "steadyglow_point_joules", joules_help, 1e3},
    Base{"W.h", "steadyglow_point_joules", joules_help, 3600.0},  Base{"kW.h", "steadyglow_point_joules", joules_help, 3.6e6},
    Base{"mOhm", "steadyglow_point_ohms", ohms_help, 1e-3},       Base{"Ohm", "steadyglow_point_ohms", ohms_help, 1.0},
    Base{"kOhm", "steadyglow_point_ohms", ohms_help, 1e3},        Base{"MOhm", "steadyglow_point_ohms", ohms_help, 1e6},
};

constexpr double from(bool truth) { return truth ? 1.0 : 0.0; }
double from(std::uint64_t count) { return static_cast<double>(count); }

void add_point(Page& page, const UnitView& unit, const PointView& point) {
  const Labels labels{{"unit", unit.name}, {"point", point.name}};
  const bool is_fresh = point.age_s && *point.age_s <= reading_age_max_s;
  const bool is_good = point.value && point.quality == "good" && is_fresh;
  page.gauge("steadyglow_point_is_good", "1 while the point has a good and fresh reading.", labels, from(is_good));
  page.gauge("steadyglow_point_quality_info", "Quality of the newest reading, as a label.", {{"unit", unit.name}, {"point", point.name}, {"quality", point.quality}}, 1.0);
  page.gauge("steadyglow_point_age_seconds", "Run time since the newest reading was taken, good or bad.", labels, point.age_s);
  if (!is_good) return;
  if (point.quantity == "state") return page.gauge("steadyglow_point_state", "Reading of a two-state point.", labels, *point.value);
  for (const Base& base : bases)
    if (base.uom == point.uom) return page.gauge(base.metric, base.help, labels, *point.value * base.factor);
}

void add_run(Page& page, const UnitView& unit, const RunView& run) {
  const Labels labels{{"unit", unit.name}};
  page.gauge("steadyglow_run_is_running", "1 while the run goes on.", labels, from(run.state == "running"));
  page.gauge("steadyglow_run_is_counting", "1 while the time counts towards the plan.", labels, from(run.state == "running" && run.not_counting_because.empty()));
  page.gauge("steadyglow_run_time_seconds", "Run time since the start of the run.", labels, run.time_s);
  page.gauge("steadyglow_run_counted_seconds", "Run time that counted.", labels, run.counted_s);
  page.gauge("steadyglow_run_planned_seconds", "Counted time that the plan asks for.", labels, run.planned_s);
  std::set<std::string> kinds;
  for (const StageView& stage : run.stages) kinds.insert(stage.kind);
  page.one_of("steadyglow_run_stage", "1 for the stage that is going on.", labels, "stage", kinds, run.stage);
  if (!run.verdict) return;
  constexpr std::array<std::string_view, 4> words{"pass", "pass_with_remarks", "incomplete", "fail"};
  page.one_of("steadyglow_run_verdict", "1 for the verdict that is proposed or signed; absent until there is one.", labels, "verdict", words, run.verdict->word);
}

void add_unit(Page& page, const UnitView& unit) {
  const Labels labels{{"unit", unit.name}};
  page.gauge("steadyglow_unit_info", "Which unit this is, and its run: join on unit.",
             {{"unit", unit.name}, {"title", unit.title}, {"serial", unit.serial}, {"bench", unit.bench}, {"kind", unit.kind}, {"plan", unit.plan},
              {"run", unit.run ? std::to_string(unit.run->id) : ""}}, 1.0);
  if (unit.run) add_run(page, unit, *unit.run);
  constexpr std::array<std::string_view, 3> states{"on", "off", "unknown"};
  constexpr std::array<std::string_view, 4> proofs{"none", "waiting", "proven", "failed"};
  page.one_of("steadyglow_outlet_state", "1 for the state of the unit's outlet.", labels, "state", states, unit.outlet.state);
  page.one_of("steadyglow_outlet_proof", "1 for how far it is proven that the outlet is off.", labels, "proof", proofs, unit.outlet.proof);
  page.gauge("steadyglow_outlet_is_interlocked", "1 while power may return only by a person at the bench.", labels, from(unit.outlet.is_interlocked));
  if (unit.worst) {
    page.gauge("steadyglow_limit_share_ratio", "How much of the way from nominal to its limit the unit's worst point has gone (1: at the limit).",
               {{"unit", unit.name}, {"point", unit.worst->point}, {"side", unit.worst->side}, {"severity", unit.worst->severity}}, unit.worst->share);
  }
  for (const PointView& point : unit.points) add_point(page, unit, point);
}

/// A zero for each pair that is usual, so that a query over them is never empty; the rare ones when there are any.
void add_alarms(Page& page, const BenchView& bench) {
  using Key = std::tuple<std::string, std::string, std::string>;
  std::map<Key, double> counts;
  for (const UnitView& unit : bench.units)
    for (const char* severity : {"warn", "trip"})
      for (const char* state : {"unacknowledged", "acknowledged", "returned_unacknowledged", "latched_unacknowledged", "latched_acknowledged"})
        counts[{unit.name, severity, state}] = 0.0;
  for (const AlarmView& alarm : bench.alarms) counts[{alarm.unit, alarm.severity, alarm.state}] += 1.0;
  for (const auto& [key, count] : counts) {
    const auto& [unit, severity, state] = key;
    page.gauge("steadyglow_alarms", "Alarms of the current run by severity and state (IEC 62682).", {{"unit", unit}, {"severity", severity}, {"state", state}}, count);
  }
}

void add_bus(Page& page, const BusView& bus) {
  const Labels labels{{"bus", bus.name}};
  page.counter("steadyglow_bus_requests_total", "Requests sent.", labels, from(bus.requests));
  page.counter("steadyglow_bus_timeouts_total", "Requests without an answer in time.", labels, from(bus.timeouts));
  page.counter("steadyglow_bus_refusals_total", "Answers that refused (exception replies).", labels, from(bus.refusals));
  page.counter("steadyglow_bus_garbage_total", "Answers that could not be believed.", labels, from(bus.garbage));
  page.counter("steadyglow_bus_reconnects_total", "Times the link was opened again.", labels, from(bus.reconnects));
  page.counter("steadyglow_bus_poll_overruns_total", "Polls that the busy bus let go by.", labels, from(bus.overruns));
  page.counter("steadyglow_bus_dropped_batches_total", "Polls that the program was too slow to take.", labels, from(bus.dropped_batches));
  page.gauge("steadyglow_bus_is_silent", "1 while no meter of the bus answers.", labels, from(bus.state == "silent"));
  for (const MeterView& meter : bus.meters)
    page.gauge("steadyglow_meter_is_silent", "1 while the meter does not answer.", {{"bus", bus.name}, {"meter", meter.name}}, from(meter.state == "silent"));
}

void add_server(Page& page, const ServerFigures& server) {
  constexpr const char* answers = "steadyglow_http_answers_total";
  constexpr const char* help = "HTTP answers by class of status.";
  page.counter(answers, help, {{"status", "2xx"}}, from(server.answers_2xx));
  page.counter(answers, help, {{"status", "4xx"}}, from(server.answers_4xx));
  page.counter(answers, help, {{"status", "5xx"}}, from(server.answers_5xx));
  page.counter("steadyglow_http_refused_connections_total", "Connections beyond the bound.", {}, from(server.refused_connections));
  page.counter("steadyglow_http_accept_failures_total", "Times a connection could not be taken (no descriptor left, for example).", {}, from(server.accept_failures));
  page.counter("steadyglow_http_wrong_passwords_total", "Requests with a wrong password.", {}, from(server.wrong_passwords));
  page.gauge("steadyglow_http_connections", "Open connections.", {}, from(server.connections));
  page.gauge("steadyglow_stream_clients", "Clients of the live stream.", {}, from(server.stream_clients));
  page.counter("steadyglow_stream_dropped_clients_total", "Clients of the live stream that were too slow.", {}, from(server.dropped_stream_clients));
}

void add_process(Page& page, const ProcessFigures& process) {
  page.counter("process_cpu_seconds_total", "Total user and system CPU time spent in seconds.", {}, process.cpu_seconds);
  page.gauge("process_start_time_seconds", "Start time of the process since unix epoch in seconds.", {}, process.start_time_seconds);
  page.gauge("process_resident_memory_bytes", "Resident memory size in bytes.", {}, process.resident_bytes);
  page.gauge("process_virtual_memory_bytes", "Virtual memory size in bytes.", {}, process.virtual_bytes);
  page.gauge("process_open_fds", "Number of open file descriptors.", {}, process.open_fds);
  page.gauge("process_max_fds", "Maximum number of open file descriptors.", {}, process.max_fds);
  page.gauge("process_threads", "Number of threads.", {}, process.threads);
}

}  // namespace

std::string metrics_text(const BenchView& bench, const ProcessFigures& process, const ServerFigures& server) {
  Page page;
  page.gauge("steadyglow_build_info", "Version of the daemon, as a label.", {{"version", bench.version}}, 1.0);
  page.gauge("steadyglow_clock_rate_ratio", "Run time over real time: 1, except in the demo.", {}, bench.clock_rate);
  for (const UnitView& unit : bench.units) add_unit(page, unit);
  add_alarms(page, bench);
  for (const BusView& bus : bench.buses) add_bus(page, bus);
  page.gauge("steadyglow_store_is_ok", "1 while the store takes what it is given.", {}, from(bench.store.state == "ok"));
  page.gauge("steadyglow_store_queue_inputs", "Inputs that wait to be written.", {}, from(bench.store.queue));
  page.gauge("steadyglow_store_wal_bytes", "Size of the store's write-ahead log.", {}, from(bench.store.wal_bytes));
  add_server(page, server);
  add_process(page, process);
  return page.text();
}

}  // namespace steadyglow::http
