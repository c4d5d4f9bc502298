#pragma once
/// What the commands that talk to the running daemon share.
#include <nlohmann/json.hpp>
#include <string>

#include "app/commands.hpp"
#include "core/result.hpp"

namespace steadyglow::app {

/// Asks the daemon; an answer other than 2xx is an Error with its words.
Result<nlohmann::json> ask_daemon(const BenchAddress& daemon, const std::string& method, const std::string& target, const nlohmann::json& body = {});
std::string text_of(const nlohmann::json& json);
void print_unit(const nlohmann::json& unit);

}  // namespace steadyglow::app
