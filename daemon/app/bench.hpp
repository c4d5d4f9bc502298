#pragma once
/// The daemon's wiring: buses, units, store and web server round one loop.
#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <memory>
#include <string>
#include <vector>

#include "acquire/bus_thread.hpp"
#include "app/session.hpp"
#include "app/settings.hpp"
#include "http/server.hpp"
#include "store/store.hpp"

namespace steadyglow::app {

/// Thread: construct and run on the main thread, which becomes the loop. Stopping: ask no more, join the buses, drain the
/// loop, then close the store (another order loses the last batches).
class Bench {
 public:
  /// Opens the store, takes up unfinished runs and listens. Fails before any outlet is touched.
  /// `find_asset`: the files of the page.
  static Result<std::unique_ptr<Bench>> open(std::string config_file, Settings settings, std::function<http::FoundAsset(std::string_view)> find_asset);
  ~Bench();

  /// Runs until SIGINT or SIGTERM.
  void run();
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

  http::BenchView view();
  http::Health health() const;
  http::BusView bus_view(std::size_t bus) const;
  UnitSession* find_unit(const std::string& name);
  Result<http::AlarmView> acknowledge(std::int64_t alarm, const std::string& who, const std::string& note);
  void history(http::HistoryRequest request, std::function<void(Result<nlohmann::json>)> reply);
  Result<nlohmann::ordered_json> carry_out(const http::Order& order);
  Result<nlohmann::ordered_json> answer(const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value);
  http::Backend backend();

  std::string config_file_;
  std::function<http::FoundAsset(std::string_view)> find_asset_;
  Settings settings_;
  boost::asio::io_context loop_;
  std::unique_ptr<store::Store> store_;
  std::vector<std::unique_ptr<UnitSession>> sessions_;
  std::vector<std::unique_ptr<acquire::BusThread>> buses_;
  std::unique_ptr<http::Server> server_;
  boost::asio::steady_timer tick_;
  boost::asio::signal_set signals_;
  /// History queries: a connection of their own, one at a time, off the loop.
  std::unique_ptr<boost::asio::thread_pool> history_pool_;
  std::size_t history_waiting_ = 0;
  bool is_stopping_ = false;
  std::string address_;
};

}  // namespace steadyglow::app
