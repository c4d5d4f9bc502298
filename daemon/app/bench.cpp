#include "app/bench.hpp"

#include <boost/asio/post.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <charconv>
#include <csignal>

#include "app/history.hpp"
#include "http/json.hpp"

namespace steadyglow::app {
namespace {

constexpr std::chrono::milliseconds tick_every{50};
/// History queries that may wait for the worker; beyond, a client is told to come again.
constexpr std::size_t history_waiting_max = 8;
/// A run that neither polls nor ticks for this long is stuck.
constexpr std::chrono::seconds stuck_after{10};
constexpr const char* version = "0.1.0";

}  // namespace

Bench::Bench(std::string config_file, Settings settings, std::unique_ptr<store::Store> store, std::function<http::FoundAsset(std::string_view)> find_asset)
    : config_file_(std::move(config_file)),
      find_asset_(std::move(find_asset)),
      settings_(std::move(settings)),
      store_(std::move(store)),
      tick_(loop_),
      signals_(loop_, SIGINT, SIGTERM, SIGHUP),
      history_pool_(std::make_unique<boost::asio::thread_pool>(1)) {}

Bench::~Bench() = default;

Result<std::unique_ptr<Bench>> Bench::open(std::string config_file, Settings settings, std::function<http::FoundAsset(std::string_view)> find_asset) {
  auto store = store::Store::open(settings.store_file);
  if (!store) return tl::unexpected(store.error());
  std::unique_ptr<Bench> bench(new Bench(std::move(config_file), std::move(settings), std::move(*store), std::move(find_asset)));
  bench->make_sessions();
  if (auto taken_up = bench->take_up_runs(); !taken_up) return tl::unexpected(taken_up.error());
  if (auto listening = bench->listen(); !listening) return tl::unexpected(listening.error());
  return bench;
}

void Bench::make_sessions() {
  for (std::size_t i = 0; i < settings_.buses.size(); ++i) {
    acquire::BusOptions options;
    options.clock_rate = settings_.clock_rate;
    buses_.push_back(std::make_unique<acquire::BusThread>(i, settings_.buses[i], options, loop_, [this](acquire::MeterBatch batch) {
      for (auto& session : sessions_) session->take(batch);
      server_->mark_changed();
    }));
  }
  for (const UnitSettings& unit : settings_.units) {
    SessionLinks links;
    links.write_outlet = [this, &unit](bool on, std::function<void(Result<void>)> done) {
      buses_[unit.outlet->bus]->order(unit.outlet->meter, unit.outlet->output, on, std::move(done));
    };
    const auto current = unit.profile.first_of(profile::Role::mains_current);
    const auto proof = current ? current : unit.profile.first_of(profile::Role::mains_power);
    links.read_proof_soon = [this, &unit, proof] {
      for (const PointBinding& binding : unit.points)
        if (proof && binding.point == *proof) buses_[binding.bus]->poll_soon(binding.meter);
    };
    links.publish = [this](const std::string& event, nlohmann::ordered_json json) {
      if (server_) server_->publish(event, json);
    };
    sessions_.push_back(std::make_unique<UnitSession>(unit, settings_.clock_rate, *store_, std::move(links)));
  }
}

Result<void> Bench::take_up_runs() {
  auto reader = store::StoreReader::open(settings_.store_file);
  if (!reader) return tl::unexpected(reader.error());
  auto runs = (*reader)->runs();
  if (!runs) return tl::unexpected(runs.error());
  for (const store::RunRow& run : *runs) {
    if (run.state != "running") continue;
    UnitSession* session = find_unit(run.unit);
    Result<void> recovered = fail(Fault::config, fmt::format("run {} belongs to unit `{}`, which is not configured any more", run.id, run.unit));
    if (session != nullptr) recovered = session->recover(**reader, run);
    if (recovered) continue;
    spdlog::warn("{}", recovered.error().text());
    store_->end_run(run.id, utc_label(utc_now_ms()));
  }
  return {};
}

Result<void> Bench::listen() {
  http::ServerOptions options;
  options.host = settings_.listen_host;
  options.port = settings_.listen_port;
  options.allowed_hosts = settings_.allowed_hosts;
  options.password_hash = settings_.password_hash;
  auto server = http::Server::open(loop_, std::move(options), backend());
  if (!server) return tl::unexpected(server.error());
  server_ = std::move(*server);
  const std::string host = settings_.listen_host.find(':') == std::string::npos ? settings_.listen_host : "[" + settings_.listen_host + "]";
  address_ = fmt::format("http://{}:{}/", host, server_->port());
  return {};
}

void Bench::run() {
  for (auto& bus : buses_) bus->start();
  for (auto& session : sessions_) {
    if (!session->settings().starts_at_once || session->run_id()) continue;
    if (const auto started = session->start("demo", true); !started) spdlog::error("{}", started.error().text());
  }
  begin_tick();
  begin_signals();
  loop_.run();
}

void Bench::begin_tick() {
  tick_.expires_after(tick_every);
  tick_.async_wait([this](const boost::system::error_code& error) {
    if (error || is_stopping_) return;
    const Boottime now = boottime_now();
    for (auto& session : sessions_) session->tick(now);
    server_->mark_changed();
    begin_tick();
  });
}

void Bench::begin_signals() {
  signals_.async_wait([this](const boost::system::error_code& error, int signal) {
    if (error) return;
    if (signal == SIGHUP) {
      reload();
      begin_signals();
      return;
    }
    spdlog::info("stopping; outlets stay as they are");
    stop();
  });
}

/// Reads the configuration again. A bad file changes nothing; a good one is compared, and what cannot change under a
/// running bench is said.
void Bench::reload() {
  Errors errors;
  const auto fresh = load_settings(config_file_, errors);
  if (!fresh) {
    for (const Error& error : errors) spdlog::error("reload: {}", error.text());
    spdlog::error("reload: {} mistakes; the configuration in force stays", errors.size());
    return;
  }
  bool is_same = fresh->units.size() == settings_.units.size() && fresh->buses.size() == settings_.buses.size() && fresh->store_file == settings_.store_file;
  for (std::size_t i = 0; is_same && i < fresh->units.size(); ++i)
    is_same = fresh->units[i].profile_text == settings_.units[i].profile_text && fresh->units[i].plan_text == settings_.units[i].plan_text;
  spdlog::info(is_same ? "reload: the file is good and names the same buses and units" : "reload: the file is good; it differs and takes effect at the next start of the daemon");
}

void Bench::stop() {
  if (is_stopping_) return;
  is_stopping_ = true;
  tick_.cancel();
  server_->stop();
  for (auto& bus : buses_) bus->stop();
  history_pool_->join();
  // The last batches are in the loop's queue; when they are through, the loop has no work left and run() returns.
  boost::asio::post(loop_, [this] {
    if (const auto flushed = store_->flush(); !flushed) spdlog::error("stopping: {}", flushed.error().text());
  });
}

// ---- for the web server ----------------------------------------------------------------------------------------

UnitSession* Bench::find_unit(const std::string& name) {
  for (auto& session : sessions_)
    if (session->settings().name == name) return session.get();
  return nullptr;
}

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
  return view;
}

http::Health Bench::health() const {
  http::Health health;
  const Boottime before = boottime_now() - stuck_after;
  for (const auto& session : sessions_)
    if (session->is_stuck(before)) health.reasons.push_back(session->settings().name + ": nothing was polled or judged for 10 s");
  const store::StoreHealth store = store_->health();
  if (!store.is_ok) health.reasons.push_back("store: " + store.reason);
  return health;
}

Result<http::AlarmView> Bench::acknowledge(std::int64_t alarm, const std::string& who, const std::string& note) {
  for (auto& session : sessions_)
    if (session->owns_alarm(alarm)) return session->acknowledge(alarm, who, note);
  return fail(Fault::bad_data, fmt::format("there is no alarm {}", alarm), "the number is the one that status and the page show");
}

void Bench::history(http::HistoryRequest request, std::function<void(Result<nlohmann::json>)> reply) {
  UnitSession* session = find_unit(request.unit);
  if (session == nullptr) return reply(fail(Fault::bad_data, fmt::format("there is no unit `{}`", request.unit)));
  if (!session->run_id()) return reply(fail(Fault::usage, "this unit has no run yet"));
  if (history_waiting_ >= history_waiting_max) return reply(fail(Fault::unavailable, "too many history queries are waiting", "ask again in a moment"));
  std::vector<PointId> points;
  for (const std::string& name : request.points) {
    const auto point = session->settings().profile.find(name);
    if (!point) return reply(fail(Fault::bad_data, fmt::format("this unit has no point `{}`", name)));
    points.push_back(*point);
  }
  ++history_waiting_;
  auto work = [this, file = settings_.store_file, run = *session->run_id(), points = std::move(points), request = std::move(request), reply = std::move(reply)]() mutable {
    reply(read_history(file, run, points, request.points, request));
    boost::asio::post(loop_, [this] { --history_waiting_; });
  };
  boost::asio::post(*history_pool_, std::move(work));
}

Result<nlohmann::ordered_json> Bench::carry_out(const http::Order& order) {
  using Json = nlohmann::ordered_json;
  if (order.what == "alarms") {
    std::int64_t alarm = 0;
    const auto [end, status] = std::from_chars(order.name.data(), order.name.data() + order.name.size(), alarm);
    if (status != std::errc{} || end != order.name.data() + order.name.size()) return fail(Fault::bad_data, "there is no alarm " + order.name);
    auto view = acknowledge(alarm, order.who(), order.text("note"));
    if (!view) return tl::unexpected(view.error());
    return Json{{"alarm", http::to_json(*view)}};
  }
  if (order.what == "units") {
    UnitSession* session = find_unit(order.name);
    if (session == nullptr) return fail(Fault::bad_data, fmt::format("there is no unit `{}`", order.name));
    Result<void> done = fail(Fault::bad_data, "this order is not known");
    if (order.verb == "start") done = session->start(order.who(), order.flag("at_the_bench"));
    if (order.verb == "stop") done = session->stop(order.who(), order.text("why"));
    if (!done) return tl::unexpected(done.error());
    return Json{{"unit", http::to_json(session->view())}};
  }
  return fail(Fault::bad_data, "this order is not known");
}

Result<nlohmann::ordered_json> Bench::answer(const std::string& what, const std::string&, const std::function<std::string(const char*)>&) {
  return fail(Fault::bad_data, fmt::format("there is no `{}` here", what));
}

http::Backend Bench::backend() {
  http::Backend backend;
  backend.bench = [this] { return view(); };
  backend.health = [this] { return health(); };
  backend.find_asset = find_asset_;
  backend.findings = [this](const std::string& unit) -> Result<nlohmann::json> {
    UnitSession* session = find_unit(unit);
    if (session == nullptr) return fail(Fault::bad_data, fmt::format("there is no unit `{}`", unit));
    return session->findings();
  };
  backend.history = [this](http::HistoryRequest request, auto reply) { history(std::move(request), std::move(reply)); };
  backend.order = [this](const http::Order& order) { return carry_out(order); };
  backend.ask = [this](const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value) { return answer(what, name, value); };
  return backend;
}

}  // namespace steadyglow::app
