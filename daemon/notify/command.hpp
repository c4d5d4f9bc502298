#pragma once
#include <sys/types.h>

#include <vector>

#include "notify/route.hpp"

namespace steadyglow::notify {

struct CommandSettings {
  std::vector<std::string> program;  ///< a path and its arguments; no shell reads them
};

/// Starts a program with the message as JSON on its standard input. Exit 0 within attempt_max: it has taken it. Whatever it
/// has started in its group ends with it.
class CommandRoute : public Route {
 public:
  explicit CommandRoute(CommandSettings settings) : settings_(std::move(settings)) {}
  Result<void> send(const Message& message) override;
  std::string where() const override { return settings_.program.front(); }
  std::string kind() const override { return "command"; }

 private:
  CommandSettings settings_;
  pid_t undying_ = -1;  ///< worker only
};

}  // namespace steadyglow::notify
