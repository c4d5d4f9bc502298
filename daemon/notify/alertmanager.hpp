#pragma once
#include <string_view>

#include "notify/address.hpp"
#include "notify/route.hpp"

namespace steadyglow::notify {

struct AlertmanagerSettings {
  std::string url;      ///< where its API begins: http://127.0.0.1:9093
  std::string ca_file;  ///< of a server whose certificate is our own; empty: the system's
};

/// POST /api/v2/alerts. One alert per incident, told apart by its number and severity; `over` resolves it.
class AlertmanagerRoute : public Route {
 public:
  explicit AlertmanagerRoute(AlertmanagerSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override { return host_of(settings_.url); }
  std::string kind() const override { return "alertmanager"; }

 private:
  AlertmanagerSettings settings_;
};

/// What is posted at `now_utc` (RFC 3339, the clock of this machine). Labels make an alert what it is, so the units, which
/// may become more, stand in an annotation; and an incident that has become graver resolves its alert of the lesser severity.
std::string alerts_json(const Message& message, std::string_view now_utc, std::string_view ends_utc);

}  // namespace steadyglow::notify
