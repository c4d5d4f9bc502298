#pragma once
/// What helps a person to wire a bench while the daemon runs: the clip list, the wiggle test, and looking for meters.
#include <deque>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include <boost/asio/thread_pool.hpp>
#include <nlohmann/json.hpp>

#include "acquire/bus_thread.hpp"
#include "app/facts.hpp"
#include "app/meter_search.hpp"
#include "app/settings.hpp"
#include "app/wiggle.hpp"
#include "http/server.hpp"

namespace steadyglow::app {

/// Thread: loop only; devices are listed and meters looked for on threads of its own.
class WiringDesk {
 public:
  WiringDesk(std::string config_file, const Settings& settings, const Facts& facts, std::function<std::int64_t(const std::string& kind, const std::string& json)> remember);

  void take(const acquire::MeterBatch& batch);
  void stop();

  /// GET /api/v1/wiring/devices.
  void devices(std::function<void(Result<http::Document>)> reply);
  /// GET /api/v1/wiring/search.
  nlohmann::ordered_json search(const std::function<std::string(const char*)>& value);
  /// POST /api/v1/wiring/look and /stop.
  Result<nlohmann::ordered_json> carry_out(const http::Order& order);
  /// GET /api/v1/units/NAME/clips and /wiggle; POST /touched. `unit` indexes Settings::units.
  nlohmann::ordered_json clips(std::size_t unit) const;
  nlohmann::ordered_json wiggle(std::size_t unit);
  Result<nlohmann::ordered_json> touched(std::size_t unit, const http::Order& order);
  /// How many clips were touched, seen to move, when and by whom, for the ready list; empty when nobody touched any.
  std::string touched_words(const UnitSettings& unit) const;

 private:
  struct Kept {
    double at_s = 0.0;
    double value = 0.0;  ///< as the meter says it, in its channel's uom
    Quality quality = Quality::no_answer;
  };
  WiggleAnswer answer(std::size_t unit) const;
  const drivers::ChannelInfo& channel(const PointBinding& binding) const;
  std::string channel_name(const PointBinding& binding) const;

  std::string config_file_;
  const Settings& settings_;
  const Facts& facts_;
  std::function<std::int64_t(const std::string& kind, const std::string& json)> remember_;
  std::vector<std::vector<std::deque<Kept>>> kept_;  ///< by unit and by its bindings
  std::vector<LastAlone> last_alone_;  ///< by unit
  MeterSearch search_;
  std::unique_ptr<boost::asio::thread_pool> devices_pool_;
};

}  // namespace steadyglow::app
