#pragma once
#include "notify/route.hpp"

namespace steadyglow::notify {

struct AlertmanagerSettings {
  std::string url;  ///< where its API version 2 begins: http://127.0.0.1:9093
};

/// POST /api/v2/alerts. One alert per incident, told apart by its number; `over` resolves it.
class AlertmanagerRoute : public Route {
 public:
  explicit AlertmanagerRoute(AlertmanagerSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override { return settings_.url; }
  std::string kind() const override { return "alertmanager"; }

 private:
  AlertmanagerSettings settings_;
};

}  // namespace steadyglow::notify
