#pragma once
/// [notify] of the configuration: persons, routes, heartbeat.
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "document/table.hpp"
#include "notify/heartbeat.hpp"
#include "notify/route.hpp"

namespace steadyglow::notify {

struct PersonSettings {
  std::string name;
  std::vector<std::string> routes;  ///< in the order in which they are tried
};

struct RouteSettings {
  std::string name;
  std::function<std::unique_ptr<Route>()> make;
};

/// Minutes and seconds of bench time.
struct CourierTiming {
  double repeat_minutes = 15.0;     ///< high, until somebody acknowledges
  double ring_minutes = 1.0;        ///< highest, likewise
  double escalate_minutes = 2.0;    ///< highest: then the next person too
  double escalate_high_minutes = 30.0;
  double proof_wait_seconds = 6.0;  ///< a cut is told once it is proven, or has failed, or after this
};

struct NotifySettings {
  std::string link_base;  ///< without a slash at its end; empty: no links
  std::vector<PersonSettings> persons;
  std::vector<RouteSettings> routes;
  std::optional<HeartbeatSettings> heartbeat;
  CourierTiming timing;
};

/// Mistakes go into the table's errors. `folder`: what relative file names begin at.
NotifySettings read_notify(document::Table& table, const std::string& folder);

}  // namespace steadyglow::notify
