#include "notify/alertmanager.hpp"

#include <nlohmann/json.hpp>

#include "notify/transfer.hpp"

namespace steadyglow::notify {

Result<void> AlertmanagerRoute::send(const Message& message) {
  nlohmann::ordered_json alert;
  alert["labels"] = {{"alertname", message.purpose == Purpose::test ? "SteadyglowTest" : "SteadyglowIncident"},
                     {"incident", std::to_string(message.incident)},
                     {"severity", alarm::to_word(message.priority)}};
  alert["annotations"] = {{"summary", message.subject}, {"description", message.text}, {"advice", to_word(message.advice)}, {"link", message.link}};
  // Its own clock says when it began; an end makes it resolved. The severity is a label: it resolves under the one it had.
  if (message.purpose == Purpose::over) alert["endsAt"] = message.utc;
  const std::string body = nlohmann::ordered_json::array({alert}).dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
  return post_json(settings_.url + "/api/v2/alerts", body, {}, is_aborted());
}

}  // namespace steadyglow::notify
