#pragma once
/// The daemon's wiring: buses, units, store and web server round one loop.
#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "acquire/bus_thread.hpp"
#include "app/bench_alarms.hpp"
#include "app/bench_cards.hpp"
#include "app/bench_supply.hpp"
#include "app/facts.hpp"
#include "app/meter_watch.hpp"
#include "app/readiness.hpp"
#include "app/service.hpp"
#include "app/session.hpp"
#include "app/settings.hpp"
#include "app/wiring_desk.hpp"
#include "http/server.hpp"
#include "store/store.hpp"

namespace steadyglow::app {

class Telling;

/// Thread: construct and run on the main thread, which becomes the loop. Stopping: ask no more, join the buses, drain the
/// loop, then close the store (another order loses the last batches).
class Bench {
 public:
  /// Opens the store, takes up unfinished runs and listens. Fails before any outlet is touched.
  /// `find_asset`: the files of the page.
  static Result<std::unique_ptr<Bench>> open(std::string config_file, Settings settings, std::function<http::FoundAsset(std::string_view)> find_asset);
  ~Bench();

  /// Runs until SIGINT or SIGTERM.
  void run(Service service = {});
  const std::string& address() const { return address_; }

 private:
  Bench(std::string config_file, Settings settings, std::unique_ptr<store::Store> store, std::function<http::FoundAsset(std::string_view)> find_asset);
  Result<void> take_up_runs();
  Result<void> listen();
  void make_sessions();
  void begin_tick();
  void begin_signals();
  void reload();
  void stop();

  Result<void> make_telling();
  notify::Situation situation_of(const alarm::Incident& incident) const;
  SupplyLinks supply_links(std::size_t bench);
  SessionLinks session_links(const UnitSettings& unit);
  Result<void> read_journal();
  void take(const acquire::MeterBatch& batch);
  void doubt_contacts(std::size_t bus);
  void tick(Boottime now);
  std::vector<std::string> parts_that_stand_still(Boottime since) const;
  bool has_watchdog() const;
  void watch_store();
  void tell_again(const store::RunRow& run, UnitSession& session);
  std::chrono::milliseconds quiet_allowed(std::size_t bus) const;
  void watch_contactors();
  void open_bench(std::optional<std::size_t> bench, const std::string& for_unit, const std::string& reason, bool locks);
  void smoke_changed(std::size_t bench, std::optional<bool> is_smoke);
  /// Into the journal, and into what is known from it. Returns the row's number, 0 when there was no room for it.
  std::int64_t remember(const std::string& kind, const std::string& json);
  void alarm_changed(const alarm::Fact& fact);
  void picture_of(const alarm::Incident& incident, std::function<void(std::string)> done);
  /// Bench time: milliseconds since this program began, times the clock's rate.
  Timestamp bench_now() const;

  http::BenchView view();
  http::Health health() const;
  http::BusView bus_view(std::size_t bus) const;
  UnitSession* find_unit(const std::string& name) const;
  std::size_t unit_index(const UnitSession& session) const { return static_cast<std::size_t>(&session.settings() - settings_.units.data()); }
  void history(http::HistoryRequest request, std::function<void(Result<nlohmann::json>)> reply);
  void document(http::DocumentRequest request, std::function<void(Result<http::Document>)> reply);
  http::SupplyView supply_view(std::size_t bench) const;
  std::optional<double> amperes_of(std::size_t bench, const std::string& but_not) const;
  std::vector<ReadyItem> ready_list(const UnitSession& session, const std::string& who) const;
  nlohmann::ordered_json morning_sheet(const std::string& from_utc) const;

  using Answered = Result<nlohmann::ordered_json>;
  Answered carry_out(const http::Order& order);
  Answered order_alarm(const http::Order& order);
  Answered order_unit(const http::Order& order);
  Answered order_bench(const http::Order& order);
  Answered order_incident(const http::Order& order);
  Answered acknowledge_incident(std::int64_t incident, const std::string& who, const std::string& note);
  Answered answer_link(const http::Order& order);
  Result<void> start_unit(UnitSession& session, const http::Order& order);
  Result<void> leave_unit(UnitSession& session, const http::Order& order);
  Result<void> enter_fact(UnitSession& session, const http::Order& order);
  Result<void> rehearse(std::size_t bench, const http::Order& order);
  Result<void> accept_cautions(const http::Order& order);
  Answered answer(const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value);
  http::Backend backend();

  std::string config_file_;
  std::function<http::FoundAsset(std::string_view)> find_asset_;
  Settings settings_;
  boost::asio::io_context loop_;
  std::unique_ptr<store::Store> store_;
  Boottime opened_at_;
  Service service_;
  Facts facts_;
  BenchAlarms bench_alarms_;
  MeterWatch meter_watch_;
  std::unique_ptr<BenchCards> cards_;
  std::unique_ptr<WiringDesk> desk_;
  std::unique_ptr<Telling> telling_;
  std::vector<std::unique_ptr<BenchSupply>> supplies_;
  std::map<std::size_t, std::optional<Boottime>> contactor_opened_at_;
  std::vector<std::unique_ptr<UnitSession>> sessions_;
  std::vector<std::unique_ptr<acquire::BusThread>> buses_;
  std::vector<std::vector<bool>> answers_;  ///< by bus and meter: the last poll was answered
  std::unique_ptr<http::Server> server_;
  boost::asio::steady_timer tick_;
  boost::asio::signal_set signals_;
  /// History queries: a connection of their own, one at a time, off the loop.
  std::unique_ptr<boost::asio::thread_pool> history_pool_;
  std::size_t history_waiting_ = 0;
  /// What is made of whole runs takes seconds: no history or picture of a message waits behind it.
  std::unique_ptr<boost::asio::thread_pool> document_pool_;
  std::size_t documents_waiting_ = 0;
  bool is_stopping_ = false;
  std::string address_;
};

}  // namespace steadyglow::app
