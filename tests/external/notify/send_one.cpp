/// Sends messages by each route of a configuration, as the daemon would, and prints what became of every attempt as a JSON
/// line.  send_one FILE.toml SECONDS [MESSAGES.json]
///
/// MESSAGES.json is a list of objects, sent in this order; what an object does not name is as in `standard_message`. With a
/// [notify.heartbeat] all is said to be well for half of the seconds, and then not.
#include <chrono>
#include <condition_variable>
#include <fstream>
#include <iostream>
#include <iterator>
#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <thread>

#include "core/decimal.hpp"
#include "notify/routes_toml.hpp"
#include "notify/sender.hpp"

using namespace steadyglow;
using nlohmann::json;

namespace {

std::string text_of(const std::string& file) {
  std::ifstream in(file);
  return {std::istreambuf_iterator<char>(in), {}};
}

notify::Message standard_message() {
  notify::Message message;
  message.priority = alarm::Priority::high;
  message.incident = 3;
  message.utc = "2026-01-01T02:43:28.000Z";
  message.subject = "SLEEP: Brindlecombe 35, bench 1: OFF, proven (Prüfung)\r\nBcc: someone@example.org";
  message.text = "02:43:28 Brindlecombe 35: OFF, proven.\n.\nRoom 15.2 °C.\n";
  message.facts = R"({"incident":3,"units":[{"name":"b35"}]})";
  message.link = "http://127.0.0.1/answer";
  message.picture = std::string("\x89PNG\r\n\x1a\n\0picture", 16);
  return message;
}

notify::Message message_of(const json& given, std::size_t number, const std::string& person, const std::string& route) {
  notify::Message message = standard_message();
  message.id = "test-incident-3-" + route + (number == 0 ? "" : std::to_string(number));
  message.person = person;
  message.route = route;
  message.incident = given.value("incident", message.incident);
  message.subject = given.value("subject", message.subject);
  message.text = given.value("text", message.text);
  message.utc = given.value("utc", message.utc);
  message.priority = static_cast<alarm::Priority>(given.value("priority", 2));
  for (const auto purpose : {notify::Purpose::alarm, notify::Purpose::repeat, notify::Purpose::escalation, notify::Purpose::changed, notify::Purpose::over, notify::Purpose::morning, notify::Purpose::test})
    if (given.value("purpose", "") == notify::to_word(purpose)) message.purpose = purpose;
  message.picture.resize(given.value("picture_bytes", message.picture.size()), 'x');
  return message;
}

}  // namespace

int main(int count, char** words) {
  if (count != 3 && count != 4) return 64;
  const std::string file = words[1];
  const std::chrono::duration<double> patience{parse_decimal(words[2]).value_or(5.0)};
  Errors errors;
  const document::Node root = document::parse(text_of(file), file, errors);
  document::Table top(root, file, errors);
  notify::NotifySettings settings;
  if (auto table = top.maybe_table("notify")) settings = notify::read_notify(*table, file.substr(0, file.rfind('/')));
  for (const Error& error : errors) std::cerr << error.text() << '\n';
  if (!errors.empty()) return 78;
  const json messages = count == 4 ? json::parse(text_of(words[3])) : json::array({json::object()});

  std::vector<notify::Sender::NamedRoute> routes;
  for (const auto& route : settings.routes) routes.push_back({route.name, route.make()});
  std::mutex mutex;
  std::condition_variable wakes;
  std::size_t sent = 0, done = 0;
  const auto began = std::chrono::steady_clock::now();
  const auto seconds = [&] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count(); };
  double stop_asked = 0.0;
  {
    notify::Sender sender(
        std::move(routes),
        [&](notify::Delivery delivery) {
          const std::lock_guard lock(mutex);
          std::cout << json{{"id", delivery.message}, {"route", delivery.route}, {"attempt", delivery.attempt}, {"is_delivered", delivery.is_delivered}, {"is_given_up", delivery.is_given_up}, {"error", delivery.error}, {"seconds", seconds()}}.dump() << std::endl;
          done += delivery.is_delivered || delivery.is_given_up ? 1 : 0;
          wakes.notify_all();
        },
        {std::chrono::milliseconds{300}, std::chrono::milliseconds{1000}, std::chrono::milliseconds{2000}});
    for (std::size_t number = 0; number < messages.size(); ++number)
      for (const auto& person : settings.persons)
        for (const std::string& route : person.routes) sent += sender.send(message_of(messages[number], number, person.name, route)) ? 1 : 0;
    if (settings.heartbeat) {
      settings.heartbeat->word_lasts = std::chrono::milliseconds{1000};
      notify::Heartbeat heartbeat(*settings.heartbeat);
      while (seconds() < patience.count()) {
        heartbeat.say(seconds() < patience.count() / 2 ? "" : "the store does not answer");
        std::this_thread::sleep_for(std::chrono::milliseconds{20});
      }
      const auto state = heartbeat.state();
      std::cout << json{{"heartbeat_held", state.is_held}, {"heartbeat_failing", state.is_failing}, {"reason", state.reason}}.dump() << std::endl;
      stop_asked = seconds();
    } else {
      std::unique_lock lock(mutex);
      wakes.wait_for(lock, patience, [&] { return done == sent; });
      stop_asked = seconds();
    }
  }
  std::cout << json{{"stop_took", seconds() - stop_asked}}.dump() << std::endl;
  return 0;
}
