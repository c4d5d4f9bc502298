/// Sends one message by each route of a configuration, as the daemon would, and prints what became of every attempt as a
/// JSON line. send_one FILE.toml SECONDS
#include <chrono>
#include <condition_variable>
#include <fstream>
#include <iostream>
#include <iterator>
#include <mutex>
#include <nlohmann/json.hpp>

#include "core/decimal.hpp"
#include "notify/routes_toml.hpp"
#include "notify/sender.hpp"

using namespace steadyglow;

int main(int count, char** words) {
  if (count != 3) return 64;
  std::ifstream in(words[1]);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  Errors errors;
  const document::Node root = document::parse(text, words[1], errors);
  document::Table top(root, words[1], errors);
  const std::string file = words[1];
  notify::NotifySettings settings;
  if (auto table = top.maybe_table("notify")) settings = notify::read_notify(*table, file.substr(0, file.rfind('/')));
  for (const Error& error : errors) std::cerr << error.text() << '\n';
  if (!errors.empty()) return 78;

  std::vector<notify::Sender::NamedRoute> routes;
  for (const auto& route : settings.routes) routes.push_back({route.name, route.make()});
  std::mutex mutex;
  std::condition_variable wakes;
  std::size_t done = 0;
  const auto began = std::chrono::steady_clock::now();
  const auto seconds = [&] { return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count(); };
  {
    notify::Sender sender(
        std::move(routes),
        [&](notify::Delivery delivery) {
          const std::lock_guard lock(mutex);
          std::cout << nlohmann::json{{"route", delivery.route}, {"attempt", delivery.attempt}, {"is_delivered", delivery.is_delivered}, {"error", delivery.error}, {"seconds", seconds()}}.dump() << std::endl;
          done += delivery.is_delivered || delivery.is_given_up ? 1 : 0;
          wakes.notify_all();
        },
        {std::chrono::milliseconds{300}, std::chrono::milliseconds{1000}, 3});
    for (const auto& person : settings.persons) {
      for (const std::string& route : person.routes) {
        notify::Message message;
        message.id = "test-incident-3-" + route;
        message.priority = alarm::Priority::high;
        message.person = person.name;
        message.route = route;
        message.incident = 3;
        message.utc = "2026-01-01T02:43:28.000Z";
        message.subject = "SLEEP: Brindlecombe 35, bench 1: OFF, proven (Prüfung)\r\nBcc: someone@example.org";
        message.text = "02:43:28 Brindlecombe 35: OFF, proven.\n.\nRoom 15.2 °C.\n";
        message.facts = R"({"incident":3})";
        message.link = "http://127.0.0.1/answer";
        message.picture = std::string("\x89PNG\r\n\x1a\n\0picture", 16);
        sender.send(std::move(message));
      }
    }
    std::unique_lock lock(mutex);
    wakes.wait_for(lock, std::chrono::duration<double>(parse_decimal(words[2]).value_or(5.0)), [&] { return done == settings.routes.size(); });
  }
  std::cout << nlohmann::json{{"stopped_after", seconds()}}.dump() << std::endl;
  return 0;
}
