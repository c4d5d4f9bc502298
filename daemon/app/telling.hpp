#pragma once
/// The bench's alarms on their way to people: incidents, the courier who decides, the routes that carry, and the journal
/// that keeps what was said.
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>
#include <nlohmann/json.hpp>

#include "alarm/figures.hpp"
#include "alarm/incidents.hpp"
#include "app/bench_clock.hpp"
#include "http/view.hpp"
#include "notify/courier.hpp"
#include "notify/heartbeat.hpp"
#include "notify/routes_toml.hpp"
#include "notify/sender.hpp"
#include "store/rows.hpp"

namespace steadyglow::app {

/// Called on the loop.
struct TellingLinks {
  std::function<void(const std::string& kind, const std::string& json)> remember;
  std::function<notify::Situation(const alarm::Incident&)> situation;
  /// PNG of the last two hours of the incident's guilty point; empty: none. May take tens of milliseconds: asked on a worker.
  std::function<void(const alarm::Incident&, std::function<void(std::string png)> done)> picture;
  /// A route fails, or works again.
  std::function<void(const std::string& route, const std::string& trouble)> route_changed;
  /// Why no heartbeat may be sent; empty: all is well.
  std::function<std::string()> trouble;
  std::function<Timestamp()> bench_now;
  /// A moment of bench time as a label.
  std::function<std::string(Timestamp)> utc_of;
};

/// Thread: loop only. Owns: the routes' workers and the heartbeat's.
class Telling {
 public:
  Telling(boost::asio::io_context& loop, const std::optional<notify::NotifySettings>& settings, std::string link_key, TellingLinks links);

  /// What the journal says was told; once, before anything else.
  void restore(const std::vector<store::JournalRow>& rows);
  void take(const alarm::Fact& fact);
  void tick(Boottime now);
  Result<nlohmann::ordered_json> test(const std::string& who);
  /// Stops the workers; nothing is sent any more.
  void stop();

  Result<std::vector<std::int64_t>> alarms_of(std::int64_t incident) const;
  std::vector<std::string> units_of(std::int64_t incident) const;
  nlohmann::ordered_json incident_json(std::int64_t incident) const;
  bool is_right_token(std::int64_t incident, const std::string& token) const;

  std::vector<std::string> persons() const;
  std::vector<std::string> routes_of(const std::string& person) const;
  std::vector<http::IncidentView> incidents_view() const;
  http::AlarmFiguresView figures_view() const;
  http::NotifyView notify_view() const;
  std::vector<std::string> morning_lines() const;
  /// A message that wakes somebody has waited for long: the heartbeat stays away.
  bool is_outbox_stuck() const;

 private:
  void send(std::vector<notify::Message> messages);
  void pass_on(notify::Message message);
  void heard(const notify::Delivery& delivery);
  http::IncidentView view_of(const alarm::Incident& incident) const;
  std::string link_of(std::int64_t incident) const;

  /// A message whose picture is being drawn.
  struct Drawn {
    notify::Message message;
    Boottime since;
    bool is_gone = false;
  };

  boost::asio::io_context& loop_;
  TellingLinks links_;
  std::vector<std::shared_ptr<Drawn>> drawn_;
  std::string key_;
  std::string link_base_;
  alarm::Incidents incidents_;
  alarm::Figures figures_;
  std::optional<notify::Courier> courier_;
  std::unique_ptr<notify::Sender> sender_;
  std::unique_ptr<notify::Heartbeat> heartbeat_;
  std::map<std::string, std::string> last_delivered_;  ///< by route: UTC label
  std::map<std::string, std::string> refused_;         ///< message id: "failing" or "given_up"; what was taken is not in here
  std::map<std::string, Boottime> waiting_loud_;       ///< message id, since when
  std::map<std::string, std::int64_t> remembered_;     ///< incident of an alarm, as the journal has it ("alarm" -> incident)
};

}  // namespace steadyglow::app
