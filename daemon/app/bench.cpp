#include "app/bench.hpp"

#include <boost/asio/post.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <sys/resource.h>
#include <unistd.h>

#include <charconv>
#include <csignal>

#include "app/documents.hpp"
#include "app/history.hpp"
#include "app/last_hours.hpp"
#include "app/telling.hpp"
#include "notify/token.hpp"
#include "http/json.hpp"

namespace steadyglow::app {
namespace {

constexpr std::chrono::milliseconds tick_every{50};
/// History queries that may wait for the worker; beyond, a client is told to come again.
constexpr std::size_t history_waiting_max = 8;
/// The same for documents of whole runs.
constexpr std::size_t documents_waiting_max = 4;
constexpr int documents_niceness = 10;
/// A run that neither polls nor ticks for this long is stuck.
constexpr std::chrono::seconds stuck_after{10};
/// The engine of a powered unit must be fed or ticked at least this often for the watchdog to be fed.
constexpr std::chrono::seconds engine_stuck_after{2};
/// A bench contactor that was ordered open must show no current behind it within this time, real time.
constexpr std::chrono::seconds contactor_proven_within{3};

}  // namespace

Bench::Bench(std::string config_file, Settings settings, std::unique_ptr<store::Store> store, std::function<http::FoundAsset(std::string_view)> find_asset)
    : config_file_(std::move(config_file)),
      find_asset_(std::move(find_asset)),
      settings_(std::move(settings)),
      store_(std::move(store)),
      opened_at_(boottime_now()),
      bench_alarms_([this](const alarm::Fact& fact) { alarm_changed(fact); }, [this](const std::string& json) { remember("bench_alarm", json); }),
      meter_watch_(settings_.buses),
      tick_(loop_),
      signals_(loop_, SIGINT, SIGTERM, SIGHUP),
      history_pool_(std::make_unique<boost::asio::thread_pool>(1)),
      document_pool_(std::make_unique<boost::asio::thread_pool>(1)) {
  std::vector<card::ConfiguredUnit> units;
  for (const UnitSettings& unit : settings_.units) units.push_back({unit.name, unit.title, unit.serial, unit.profile.kind});
  cards_ = std::make_unique<BenchCards>(settings_.store_file, std::move(units), loop_, [this](const std::string& kind, const std::string& json) { return remember(kind, json); });
  desk_ = std::make_unique<WiringDesk>(config_file_, settings_, facts_, [this](const std::string& kind, const std::string& json) { return remember(kind, json); });
  // On Linux a thread's own: what guards goes before what is drawn.
  boost::asio::post(*document_pool_, [] { setpriority(PRIO_PROCESS, static_cast<id_t>(gettid()), documents_niceness); });
}

Bench::~Bench() = default;

Result<std::unique_ptr<Bench>> Bench::open(std::string config_file, Settings settings, std::function<http::FoundAsset(std::string_view)> find_asset) {
  auto store = store::Store::open(settings.store_file);
  if (!store) return tl::unexpected(store.error());
  std::unique_ptr<Bench> bench(new Bench(std::move(config_file), std::move(settings), std::move(*store), std::move(find_asset)));
  bench->make_sessions();
  if (auto made = bench->make_telling(); !made) return tl::unexpected(made.error());
  if (auto read = bench->read_journal(); !read) return tl::unexpected(read.error());
  if (auto taken_up = bench->take_up_runs(); !taken_up) return tl::unexpected(taken_up.error());
  if (auto listening = bench->listen(); !listening) return tl::unexpected(listening.error());
  return bench;
}

void Bench::make_sessions() {
  for (std::size_t i = 0; i < settings_.buses.size(); ++i) {
    acquire::BusOptions options;
    options.clock_rate = settings_.clock_rate;
    buses_.push_back(std::make_unique<acquire::BusThread>(i, settings_.buses[i], options, loop_, [this](const acquire::MeterBatch& batch) { take(batch); }));
    answers_.emplace_back(settings_.buses[i].meters.size(), true);
  }
  for (std::size_t i = 0; i < settings_.benches.size(); ++i) supplies_.push_back(std::make_unique<BenchSupply>(settings_.benches[i], settings_.clock_rate, supply_links(i)));
  for (const UnitSettings& unit : settings_.units) sessions_.push_back(std::make_unique<UnitSession>(unit, settings_.clock_rate, *store_, session_links(unit)));
}

/// The units first: what one of them must be cut for waits for nothing else.
void Bench::take(const acquire::MeterBatch& batch) {
  const store::Store::Together together(*store_);
  const auto now = std::chrono::steady_clock::now();
  for (auto& supply : supplies_)
    if (auto* watchdog = supply->watchdog()) watchdog->progress(settings_.buses[batch.bus].name, now);
  for (auto& session : sessions_) session->take(batch);
  for (auto& supply : supplies_) supply->take(batch);
  desk_->take(batch);
  meter_watch_.take(batch, bench_alarms_, bench_now());
  if (batch.reply.is_answered && !answers_[batch.bus][batch.meter]) doubt_contacts(batch.bus);
  answers_[batch.bus][batch.meter] = batch.reply.is_answered;
  server_->mark_changed();
}

/// A device of this bus was silent and answers again. It may have lost its supply meanwhile, and its neighbours with it.
void Bench::doubt_contacts(std::size_t bus) {
  for (auto& supply : supplies_)
    if (const auto& contactor = supply->settings().contactor; contactor && contactor->bus == bus) supply->doubt_contactor();
  for (auto& session : sessions_)
    if (const auto& outlet = session->settings().outlet; outlet && outlet->bus == bus) session->doubt_relay();
}

SupplyLinks Bench::supply_links(std::size_t bench) {
  SupplyLinks links;
  links.write = [this](const OutletBinding& output, bool on, std::function<void(Result<void>)> done) { buses_[output.bus]->order(output.meter, output.output, on, std::move(done)); };
  links.ask = [this](const OutletBinding& output, std::function<void(Result<bool>)> done) { buses_[output.bus]->ask(output.meter, output.output, std::move(done)); };
  links.holds_open = [this, bench]() -> std::string {
    for (const auto& session : sessions_)
      if (session->settings().bench_index == bench && session->keeper().is_defective()) return fmt::format("the relay of {} is marked defective, and would give it power", session->settings().title);
    return {};
  };
  links.remember = [this](const std::string& kind, const std::string& json) { remember(kind, json); };
  links.policy_of_next = [this](const std::string& unit) {
    const UnitSession* session = find_unit(unit);
    return session ? session->policy().set_by : std::string{};
  };
  links.your_turn = [this](const std::string& unit) {
    if (UnitSession* session = find_unit(unit)) session->take_turn();
  };
  links.watchdog_dropped = [this, bench] {
    const std::string& name = settings_.benches[bench].name;
    const std::string why = name + ": the hardware watchdog was not fed in time and has opened every contact";
    bench_alarms_.raise({"watchdog", alarm::Cause::bench, name, name, alarm::Priority::medium, why + "; its units stay off unless their policy wants them on again"}, bench_now());
    supplies_[bench]->fell(why);
  };
  links.supply_fell = [this, bench](const std::string& why) {
    for (auto& session : sessions_)
      if (session->settings().bench_index == bench) session->supply_was_cut(why);
  };
  links.smoke_changed = [this, bench](std::optional<bool> is_smoke) { smoke_changed(bench, is_smoke); };
  return links;
}

SessionLinks Bench::session_links(const UnitSettings& unit) {
  SessionLinks links;
  links.write_outlet = [this, &unit](bool on, std::function<void(Result<void>)> done) {
    buses_[unit.outlet->bus]->order(unit.outlet->meter, unit.outlet->output, on, std::move(done));
  };
  links.ask_outlet = [this, &unit](std::function<void(Result<bool>)> done) { buses_[unit.outlet->bus]->ask(unit.outlet->meter, unit.outlet->output, std::move(done)); };
  const auto current = unit.profile.first_of(profile::Role::mains_current);
  const auto proof = current ? current : unit.profile.first_of(profile::Role::mains_power);
  links.read_proof_soon = [this, &unit, proof] {
    for (const PointBinding& binding : unit.points)
      if (proof && binding.point == *proof) buses_[binding.bus]->poll_soon(binding.meter);
  };
  links.publish = [this](const std::string& event, nlohmann::ordered_json json) {
    if (server_) server_->publish(event, json);
  };
  links.open_bench = [this, &unit](const std::string& reason, bool locks) { open_bench(unit.bench_index, unit.name, reason, locks); };
  links.close_bench = [this, &unit](const std::string& who) -> Result<void> {
    if (!unit.bench_index) return fail(Fault::usage, "this unit's bench has no contactor");
    return supplies_[*unit.bench_index]->close(who, true);
  };
  links.contactor_rehearsed = [this, &unit](bool has_obeyed, const std::string& text) {
    if (!unit.bench_index) return;
    if (has_obeyed) supplies_[*unit.bench_index]->contactor_proven();
    else supplies_[*unit.bench_index]->mark_contactor_defective("the rehearsal failed: " + text);
  };
  links.want_turn = [this, &unit](bool wants) {
    if (!unit.bench_index) {
      if (wants) boost::asio::post(loop_, [this, &unit] { if (UnitSession* session = find_unit(unit.name)) session->take_turn(); });
      return;
    }
    if (wants) supplies_[*unit.bench_index]->stagger().ask(unit.name);
    else supplies_[*unit.bench_index]->stagger().withdraw(unit.name);
  };
  links.are_mains_steady = [this, &unit] { return unit.bench_index && supplies_[*unit.bench_index]->are_mains_steady(boottime_now()); };
  links.is_bus_silent = [this](std::size_t bus) { return buses_[bus]->health().is_silent; };
  links.identity = [this](const std::string& meter) { return meter_watch_.identity(meter); };
  links.bus_name = [this](std::size_t bus) { return settings_.buses[bus].name; };
  links.alarm_changed = [this](const alarm::Fact& fact) { alarm_changed(fact); };
  links.remember = [this](const std::string& kind, const nlohmann::ordered_json& json) { remember(kind, json.dump()); };
  return links;
}

/// One unit's relay did not obey, or a person wants the whole bench off: the others on it lose their supply with it.
void Bench::open_bench(std::optional<std::size_t> bench, const std::string& for_unit, const std::string& reason, bool locks) {
  if (!bench || !supplies_[*bench]->has_contactor()) {
    if (locks) spdlog::critical("{}: no bench contactor is there to open: {}", for_unit, reason);
    return;
  }
  supplies_[*bench]->open(reason, locks);
  for (auto& session : sessions_)
    if (session->settings().bench_index == bench && session->settings().name != for_unit) session->bench_was_opened("the bench contactor was opened" + (for_unit.empty() ? ": " + reason : " for another unit: " + find_unit(for_unit)->settings().title));
}

void Bench::smoke_changed(std::size_t bench, std::optional<bool> is_smoke) {
  const std::string& name = settings_.benches[bench].name;
  if (!is_smoke) {
    bench_alarms_.raise({"smoke_contact", alarm::Cause::bench, name, name, alarm::Priority::medium, name + ": the smoke contact cannot be read"}, bench_now());
    return;
  }
  bench_alarms_.clear("smoke_contact", name, "the smoke contact reads again", bench_now());
  if (!*is_smoke) return bench_alarms_.clear("smoke", name, "the smoke contact is closed again", bench_now());
  open_bench(bench, {}, "smoke or heat", true);
  bench_alarms_.raise({"smoke", alarm::Cause::bench, name, name, alarm::Priority::highest, name + ": SMOKE OR HEAT; everything on the bench was ordered off. Call the fire service; do not go in alone"}, bench_now());
}

Result<void> Bench::make_telling() {
  auto key = notify::link_key(settings_.store_file + ".links");
  if (!key) return tl::unexpected(key.error());
  TellingLinks links;
  links.remember = [this](const std::string& kind, const std::string& json) { remember(kind, json); };
  links.situation = [this](const alarm::Incident& incident) { return situation_of(incident); };
  links.picture = [this](const alarm::Incident& incident, std::function<void(std::string)> done) { picture_of(incident, std::move(done)); };
  links.route_changed = [this](const std::string& route, const std::string& trouble) {
    if (trouble.empty()) return bench_alarms_.clear("route", route, "messages go by it again", bench_now());
    bench_alarms_.raise({"route", alarm::Cause::bench, route, {}, alarm::Priority::low, "messages by " + route + " are not taken: " + trouble}, bench_now());
  };
  links.trouble = [this]() -> std::string {
    const http::Health now = health();
    if (!now.is_ok()) return now.reasons.front();
    return telling_->is_outbox_stuck() ? "a message that wakes somebody waits and is not taken" : std::string{};
  };
  links.bench_now = [this] { return bench_now(); };
  links.utc_of = [this](Timestamp at) {
    const double ago_ms = static_cast<double>((bench_now() - at).count()) / settings_.clock_rate;
    return utc_label(utc_now_ms() - static_cast<std::int64_t>(ago_ms));
  };
  telling_ = std::make_unique<Telling>(loop_, settings_.notify, std::move(*key), std::move(links));
  return {};
}

/// How the incident's units stand now, for the person who is told.
notify::Situation Bench::situation_of(const alarm::Incident& incident) const {
  notify::Situation now;
  const std::int64_t utc = utc_now_ms();
  now.utc = utc_label(utc);
  now.clock = clock_label(utc);
  for (const std::string& name : incident.units())
    if (const UnitSession* session = find_unit(name)) now.units.push_back(session->situation());
  for (std::size_t b = 0; b < supplies_.size(); ++b) {
    if (settings_.benches[b].name != incident.bench) continue;
    now.has_smoke_contact = settings_.benches[b].smoke.has_value();
    now.is_smoke = supplies_[b]->is_smoke();
  }
  for (auto& unit : now.units) {
    for (const auto& other : sessions_)
      if (other->settings().bench == unit.bench && other->settings().name != unit.name && other->engine() != nullptr && !other->engine()->is_over())
        unit.neighbours.push_back(other->settings().title + (other->is_powered() ? " runs on" : " is off"));
  }
  return now;
}

/// Drawn on the history's worker: reading two hours takes longer than a tick.
void Bench::picture_of(const alarm::Incident& incident, std::function<void(std::string)> done) {
  const alarm::Fact& fact = incident.leading();
  const UnitSession* session = find_unit(fact.unit);
  if (session == nullptr || !session->run_id()) return done({});
  PictureRequest request = picture_request(*session, fact.point);
  auto work = [this, file = settings_.store_file, request = std::move(request), done = std::move(done)]() mutable {
    boost::asio::post(loop_, [done = std::move(done), png = draw_from(file, std::move(request))]() mutable { done(std::move(png)); });
  };
  boost::asio::post(*history_pool_, std::move(work));
}

void Bench::alarm_changed(const alarm::Fact& fact) {
  if (telling_) telling_->take(fact);
}

std::int64_t Bench::remember(const std::string& kind, const std::string& json) {
  const std::int64_t utc = utc_now_ms();
  const std::int64_t seq = store_->append_journal(utc, kind, json);
  facts_.take({seq, utc, kind, json});
  if (seq > 0) cards_->take({seq, utc, kind, json});
  return seq;
}

Timestamp Bench::bench_now() const {
  const double real_ms = std::chrono::duration<double, std::milli>(boottime_now() - opened_at_).count();
  return at_ms(static_cast<std::int64_t>(real_ms * settings_.clock_rate));
}

Result<void> Bench::read_journal() {
  auto reader = store::StoreReader::open(settings_.store_file);
  if (!reader) return tl::unexpected(reader.error());
  auto rows = (*reader)->journal();
  if (!rows) return tl::unexpected(rows.error());
  for (const store::JournalRow& row : *rows) {
    facts_.take(row);
    bench_alarms_.restore(row);
    cards_->take(row);
  }
  for (auto& supply : supplies_) {
    const std::string output = supply->settings().name + ".contactor";
    supply->restore(facts_.contact(output));
    if (const auto why = facts_.interlock(output)) supply->restore_lock(*why);
  }
  for (auto& session : sessions_) {
    const ContactFact relay = facts_.contact(session->settings().name + ".outlet");
    session->restore_contact(relay.is_defective, relay.is_unproven, relay.why);
    if (const auto why = facts_.interlock(session->settings().name + ".outlet")) session->restore_lock(*why);
  }
  telling_->restore(*rows);
  return {};
}

Result<void> Bench::take_up_runs() {
  auto reader = store::StoreReader::open(settings_.store_file);
  if (!reader) return tl::unexpected(reader.error());
  auto runs = (*reader)->runs();
  if (!runs) return tl::unexpected(runs.error());
  std::map<std::string, const store::RunRow*> last;
  for (const store::RunRow& run : *runs) {
    if (!run.is_imported()) last[run.unit] = &run;
    if (run.state != "running") continue;
    UnitSession* session = find_unit(run.unit);
    Result<void> recovered = fail(Fault::config, fmt::format("run {} belongs to unit `{}`, which is not configured any more", run.id, run.unit));
    if (session != nullptr) recovered = session->recover(**reader, run);
    if (recovered) continue;
    spdlog::warn("{}", recovered.error().text());
    store_->end_run(run.id, utc_label(utc_now_ms()));
  }
  for (const auto& [unit, run] : last)
    if (UnitSession* session = find_unit(unit); session != nullptr && !session->run_id()) tell_again(*run, *session);
  return {};
}

/// The last run of a unit, which has ended: shown again, off the loop, for what runs is guarded first.
void Bench::tell_again(const store::RunRow& run, UnitSession& session) {
  boost::asio::post(*history_pool_, [this, run, &session] {
    auto reader = store::StoreReader::open(settings_.store_file);
    auto told = reader ? retell(session.settings(), **reader, run) : Result<Retold>(tl::unexpected(reader.error()));
    if (!told) return spdlog::info("{}: its last run is not shown: {}", session.settings().title, told.error().text());
    const auto whole = std::make_shared<Retold>(std::move(*told));
    boost::asio::post(loop_, [&session, run, whole] { session.show_ended(run, std::move(*whole)); });
  });
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

void Bench::run(Service service) {
  service_ = std::move(service);
  for (auto& bus : buses_) bus->start();
  bench_alarms_.tell_restored(bench_now());
  for (auto& session : sessions_) {
    if (!session->settings().starts_at_once || session->run_id()) continue;
    if (const auto bench = session->settings().bench_index; bench && supplies_[*bench]->has_contactor() && supplies_[*bench]->contactor().wanted() == outlet::Wanted::unknown)
      (void)supplies_[*bench]->close("demo", true);
    soak::Policy policy;
    policy.set_by = "demo";
    policy.after_mains = soak::AfterMains::staged;
    if (const auto started = session->start("demo", true, policy); !started) spdlog::error("{}", started.error().text());
  }
  cards_->begin();
  begin_tick();
  begin_signals();
  service_.say(fmt::format("READY=1\nSTATUS=listening at {}, {} units", address_, sessions_.size()));
  loop_.run();
}

void Bench::begin_tick() {
  tick_.expires_after(tick_every);
  tick_.async_wait([this](const boost::system::error_code& error) {
    if (error || is_stopping_) return;
    const Boottime now = boottime_now();
    tick(now);
    server_->mark_changed();
    begin_tick();
  });
}

void Bench::tick(Boottime now) {
  const store::Store::Together together(*store_);
  const auto real = std::chrono::steady_clock::now();
  for (auto& session : sessions_) {
    session->tick(now);
    if (!session->settings().bench_index) continue;
    auto* watchdog = supplies_[*session->settings().bench_index]->watchdog();
    if (watchdog == nullptr) continue;
    // The parts that guard a powered unit: its engine, and every bus that one of its points hangs on.
    const std::string& name = session->settings().name;
    if (!session->is_powered()) {
      watchdog->excuse(name);
      continue;
    }
    watchdog->expect(name, real);
    if (!session->is_stuck(now - engine_stuck_after)) watchdog->progress(name, real);
    for (const PointBinding& binding : session->settings().points) watchdog->expect(settings_.buses[binding.bus].name, real, quiet_allowed(binding.bus));
  }
  for (auto& supply : supplies_) supply->tick(now);
  watch_contactors();
  watch_store();
  telling_->tick(now);
  // Withheld while a part stands still: the service manager then starts us again.
  if (parts_that_stand_still(now - stuck_after).empty()) service_.alive(real);
}

/// A bus may be quiet for three turns of its quickest meter, in real time.
std::chrono::milliseconds Bench::quiet_allowed(std::size_t bus) const {
  constexpr int turns = 3;
  std::chrono::milliseconds quickest = std::chrono::hours{1};
  for (const auto& meter : settings_.buses[bus].meters) quickest = std::min(quickest, meter.poll_period);
  return std::chrono::milliseconds{static_cast<std::int64_t>(turns * static_cast<double>(quickest.count()) / settings_.clock_rate)};
}

void Bench::watch_store() {
  const store::StoreHealth store = store_->health();
  if (!store.is_ok) bench_alarms_.raise({"store", alarm::Cause::bench, "store", {}, alarm::Priority::medium, "the store: " + store.reason}, bench_now());
  else bench_alarms_.clear("store", "store", "the store writes again", bench_now());
}

/// A contactor that was ordered open while a unit behind it still draws power: nothing that this program has can break it.
void Bench::watch_contactors() {
  for (std::size_t b = 0; b < supplies_.size(); ++b) {
    BenchSupply& supply = *supplies_[b];
    if (!supply.has_contactor()) continue;
    const auto& contactor = supply.contactor();
    const bool is_ordered = contactor.wanted() == outlet::Wanted::off && contactor.is_accepted();
    const auto now = boottime_now();
    if (!is_ordered) {
      contactor_opened_at_[b].reset();
      continue;
    }
    if (!contactor_opened_at_[b]) contactor_opened_at_[b] = now;
    if (now - *contactor_opened_at_[b] < contactor_proven_within) continue;
    for (auto& session : sessions_) {
      if (session->settings().bench_index != b || !session->draws_power_since(*contactor_opened_at_[b])) continue;
      const std::string why = session->settings().title + " still draws power behind the open bench contactor";
      supply.mark_contactor_defective(why);
      bench_alarms_.raise({"contactor", alarm::Cause::bench, supply.settings().name, supply.settings().name, alarm::Priority::highest, why + ": pull the plug or the breaker, if it is safe to do so"}, bench_now());
    }
  }
}

bool Bench::has_watchdog() const {
  return std::any_of(supplies_.begin(), supplies_.end(), [](const auto& supply) { return supply->watchdog() != nullptr; });
}

void Bench::begin_signals() {
  signals_.async_wait([this](const boost::system::error_code& error, int signal) {
    if (error) return;
    if (signal == SIGHUP) {
      service_.reloading();
      reload();
      service_.say("READY=1");
      begin_signals();
      return;
    }
    spdlog::info("stopping; outlets stay as they are{}", has_watchdog() ? ", until the hardware watchdog opens them: it is no longer fed" : "");
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
  service_.say("STOPPING=1");
  tick_.cancel();
  // A search is only told: it is waited for when this object goes, behind all that a bench waits for.
  desk_->stop();
  server_->stop();
  telling_->stop();
  cards_->stop();
  for (auto& bus : buses_) bus->stop();
  for (auto* pool : {history_pool_.get(), document_pool_.get()}) {
    pool->stop();
    pool->join();
  }
  // The last batches are in the loop's queue; when they are through, the loop has no work left and run() returns.
  boost::asio::post(loop_, [this] {
    if (const auto flushed = store_->flush(); !flushed) spdlog::error("stopping: {}", flushed.error().text());
  });
}

// ---- for the web server ----------------------------------------------------------------------------------------

UnitSession* Bench::find_unit(const std::string& name) const {
  for (auto& session : sessions_)
    if (session->settings().name == name) return session.get();
  return nullptr;
}

/// Engines that judged nothing since then, and buses whose thread did no turn: not those whose meters are silent.
std::vector<std::string> Bench::parts_that_stand_still(Boottime since) const {
  std::vector<std::string> parts;
  for (const auto& session : sessions_)
    if (session->is_stuck(since)) parts.push_back(fmt::format("{}: nothing was polled or judged for {} s", session->settings().name, stuck_after.count()));
  for (std::size_t i = 0; i < buses_.size(); ++i)
    if (buses_[i]->turned_at() < since) parts.push_back(fmt::format("{}: its thread has stood still for {} s", settings_.buses[i].name, stuck_after.count()));
  return parts;
}

http::Health Bench::health() const {
  http::Health health;
  health.reasons = parts_that_stand_still(boottime_now() - stuck_after);
  const store::StoreHealth store = store_->health();
  if (!store.is_ok) health.reasons.push_back("store: " + store.reason);
  return health;
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

void Bench::document(http::DocumentRequest request, std::function<void(Result<http::Document>)> reply) {
  if (request.what == "wiring") return desk_->devices(std::move(reply));
  if (request.what != "runs") return cards_->make(std::move(request), std::move(reply));
  if (documents_waiting_ >= documents_waiting_max) return reply(fail(Fault::unavailable, "too many documents are being made", "ask again in a moment"));
  ++documents_waiting_;
  auto work = [this, file = settings_.store_file, request = std::move(request), reply = std::move(reply)] {
    reply(make_document(file, request));
    boost::asio::post(loop_, [this] { --documents_waiting_; });
  };
  boost::asio::post(*document_pool_, std::move(work));
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
  backend.document = [this](http::DocumentRequest request, auto reply) { document(std::move(request), std::move(reply)); };
  backend.photo = [this](http::Photo photo, auto reply) { cards_->add_photo(std::move(photo), std::move(reply)); };
  backend.order = [this](const http::Order& order) { return carry_out(order); };
  backend.ask = [this](const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value) { return answer(what, name, value); };
  return backend;
}

}  // namespace steadyglow::app
