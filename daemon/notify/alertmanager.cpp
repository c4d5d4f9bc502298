#include "notify/alertmanager.hpp"

#include <algorithm>
#include <array>
#include <ctime>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "notify/transfer.hpp"

namespace steadyglow::notify {
namespace {

using Json = nlohmann::ordered_json;
using alarm::Priority;

/// An alert without an end passes for resolved after five minutes. An incident stands until it is told to be over, but not
/// for ever if nobody is left to tell.
constexpr std::chrono::hours incident_stands_max{24};
constexpr std::chrono::minutes test_stands{5};

std::string rfc3339(std::chrono::system_clock::time_point when) {
  const std::time_t seconds = std::chrono::system_clock::to_time_t(when);
  std::tm utc{};
  gmtime_r(&seconds, &utc);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.000Z", utc.tm_year + 1900, utc.tm_mon + 1, utc.tm_mday, utc.tm_hour, utc.tm_min, utc.tm_sec);
}

bool is_of_an_incident(const Message& message) { return message.incident != 0; }

std::string units_of(const Message& message) {
  const auto facts = Json::parse(message.facts, nullptr, false);
  std::string names;
  if (!facts.is_object() || !facts.contains("units") || !facts["units"].is_array()) return names;
  for (const auto& unit : facts["units"])
    if (unit.is_object()) names += (names.empty() ? "" : ", ") + unit.value("name", "");
  return names;
}

}  // namespace

std::string alerts_json(const Message& message, std::string_view now_utc, std::string_view ends_utc) {
  Json alerts = Json::array();
  for (const Priority severity : {Priority::low, Priority::medium, Priority::high, Priority::highest}) {
    const bool is_this = severity == message.priority;
    if (!is_this && !is_of_an_incident(message)) continue;
    Json alert;
    alert["labels"] = {{"alertname", is_of_an_incident(message) ? "SteadyglowIncident" : message.purpose == Purpose::test ? "SteadyglowTest" : "SteadyglowWord"}, {"incident", std::to_string(message.incident)}, {"severity", alarm::to_word(severity)}};
    alert["annotations"] = {{"summary", message.subject}, {"description", message.text}, {"advice", to_word(message.advice)}, {"units", units_of(message)}, {"written", message.utc}, {"link", message.link}};
    const bool is_standing = is_this && message.purpose != Purpose::over;
    // Bench time may run ahead of the clock (the demo's does): no alert begins in the time to come.
    if (is_standing) alert["startsAt"] = message.utc.empty() || message.utc > now_utc ? std::string(now_utc) : message.utc;
    alert["endsAt"] = is_standing ? ends_utc : now_utc;
    alerts.push_back(std::move(alert));
  }
  return alerts.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Result<void> AlertmanagerRoute::send(const Message& message) {
  const auto now = std::chrono::system_clock::now();
  const auto stands = is_of_an_incident(message) ? std::chrono::seconds(incident_stands_max) : std::chrono::seconds(test_stands);
  return post_json({settings_.url + "/api/v2/alerts", settings_.ca_file, alerts_json(message, rfc3339(now), rfc3339(now + stands)), {}}, is_aborted());
}

}  // namespace steadyglow::notify
