/// What the outside sees of the bench.
#include <fmt/format.h>

#include "app/bench.hpp"
#include "app/telling.hpp"

namespace steadyglow::app {
namespace {

constexpr const char* version = "0.1.0";

}  // namespace

http::BusView Bench::bus_view(std::size_t bus) const {
  const acquire::BusHealth health = buses_[bus]->health();
  const drivers::BusSpec& spec = settings_.buses[bus];
  http::BusView view;
  view.name = spec.name;
  view.where = spec.where;
  view.state = health.is_silent ? "silent" : "ok";
  view.requests = health.counters.requests;
  view.timeouts = health.counters.timeouts;
  view.refusals = health.counters.refusals;
  view.garbage = health.counters.garbage;
  view.reconnects = health.counters.reconnects;
  view.overruns = health.overruns;
  view.dropped_batches = health.dropped_batches;
  for (std::size_t i = 0; i < spec.meters.size(); ++i) view.meters.push_back({spec.meters[i].name, i < health.meter_is_silent.size() && health.meter_is_silent[i] ? "silent" : "ok"});
  return view;
}

http::BenchView Bench::view() {
  http::BenchView view;
  view.version = version;
  view.utc = utc_label(utc_now_ms());
  view.clock_rate = settings_.clock_rate;
  view.is_accelerated = settings_.clock_rate != 1.0;
  const store::StoreHealth health = store_->health();
  view.store.state = health.is_ok ? "ok" : "failing";
  view.store.reason = health.reason;
  if (health.dropped > 0) view.store.reason += fmt::format("{}{} rows found no room and are lost", health.reason.empty() ? "" : "; ", health.dropped);
  view.store.queue = health.queue;
  view.store.wal_bytes = health.wal_bytes;
  for (std::size_t i = 0; i < buses_.size(); ++i) view.buses.push_back(bus_view(i));
  for (const auto& session : sessions_) {
    view.units.push_back(session->view());
    for (auto& alarm : session->alarms()) view.alarms.push_back(std::move(alarm));
  }
  for (std::size_t i = 0; i < supplies_.size(); ++i) view.benches.push_back(supply_view(i));
  view.incidents = telling_->incidents_view();
  view.alarm_figures = telling_->figures_view();
  view.notify = telling_->notify_view();
  return view;
}


std::optional<double> Bench::amperes_of(std::size_t bench, const std::string& but_not) const {
  double all = 0.0;
  for (const auto& session : sessions_) {
    if (session->settings().bench_index != bench || session->settings().name == but_not) continue;
    all += session->amperes().value_or(0.0);
  }
  return all;
}

http::SupplyView Bench::supply_view(std::size_t bench) const {
  const BenchSupply& supply = *supplies_[bench];
  const BenchSettings& settings = settings_.benches[bench];
  http::SupplyView view;
  view.name = settings.name;
  if (supply.has_contactor()) {
    const auto& contactor = supply.contactor();
    view.contactor.state = contactor.wanted() == outlet::Wanted::unknown && !supply.is_contactor_closed() ? "unknown" : supply.is_contactor_closed() ? "closed" : "open";
    view.contactor.is_defective = contactor.is_defective();
    view.contactor.reason = contactor.is_defective() ? contactor.defect() : contactor.reason();
  }
  if (const auto* watchdog = supply.watchdog()) {
    const auto trouble = watchdog->unfed_because(std::chrono::steady_clock::now());
    view.watchdog.state = trouble ? "held" : "fed";
    view.watchdog.reason = trouble.value_or("");
  }
  for (const auto& session : sessions_) {
    if (session->settings().bench_index != bench) continue;
    if (const auto& rehearsal = session->rehearsal()) {
      view.rehearsal = {rehearsal->step() == outlet::Rehearsal::Step::passed ? "passed" : rehearsal->step() == outlet::Rehearsal::Step::failed ? "failed" : "running",
                        session->settings().name, utc_label(utc_now_ms()), session->rehearsed_by(), rehearsal->text()};
    } else if (const RehearsalFact* fact = facts_.rehearsal(settings.name, session->settings().name); fact != nullptr && view.rehearsal.state == "none") {
      view.rehearsal = {fact->is_passed ? "passed" : "failed", fact->unit, utc_label(fact->utc_ms), fact->who, fact->text};
    }
  }
  view.mains_volts = supply.mains_volts();
  if (settings.smoke) view.smoke = !supply.is_smoke() ? "unreadable" : *supply.is_smoke() ? "smoke" : "quiet";
  view.amperes = amperes_of(bench, {}).value_or(0.0);
  if (settings.breaker_amperes) view.allowed_amperes = *settings.breaker_amperes * settings.breaker_share;
  view.person_on_call = settings.person_on_call;
  return view;
}

}  // namespace steadyglow::app
