#include "app/telling.hpp"

#include <boost/asio/post.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <algorithm>

#include "notify/token.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

/// A loud message that no route has taken for this long, real time: somebody outside must know.
constexpr std::chrono::minutes outbox_stuck_after{5};
/// A message waits so long for its picture, real time.
constexpr std::chrono::seconds picture_patience{3};
constexpr std::size_t incidents_shown_max = 50;

template <class Enum>
Enum from_word(const std::string& word, std::uint8_t count) {
  for (std::uint8_t i = 0; i < count; ++i)
    if (notify::to_word(static_cast<Enum>(i)) == word) return static_cast<Enum>(i);
  return Enum{};
}

}  // namespace

Telling::Telling(boost::asio::io_context& loop, const std::optional<notify::NotifySettings>& settings, std::string link_key, TellingLinks links)
    : loop_(loop), links_(std::move(links)), key_(std::move(link_key)), figures_(Timestamp{}) {
  if (!settings) return;
  link_base_ = settings->link_base;
  constexpr std::size_t mark_size = 8;
  courier_.emplace(notify::link_token(key_, 0).substr(0, mark_size), settings->persons, settings->timing, links_.situation);
  std::vector<notify::Sender::NamedRoute> routes;
  for (const notify::RouteSettings& route : settings->routes) routes.push_back({route.name, route.make()});
  sender_ = std::make_unique<notify::Sender>(std::move(routes), [this](notify::Delivery delivery) {
    boost::asio::post(loop_, [this, delivery = std::move(delivery)] { heard(delivery); });
  });
  if (settings->heartbeat) heartbeat_ = std::make_unique<notify::Heartbeat>(*settings->heartbeat);
}

void Telling::stop() {
  heartbeat_.reset();
  sender_.reset();
}

void Telling::restore(const std::vector<store::JournalRow>& rows) {
  std::vector<notify::ToldBefore> told;
  for (const store::JournalRow& row : rows) {
    const auto json = nlohmann::json::parse(row.json, nullptr, false);
    if (!json.is_object()) continue;
    if (row.kind == "incident") incidents_.restore(json.value("alarm", std::int64_t{0}), json.value("incident", std::int64_t{0}));
    if (row.kind == "message")
      told.push_back({json.value("id", ""), json.value("incident", std::int64_t{0}), json.value("person", ""), json.value("route", ""), from_word<notify::Purpose>(json.value("purpose", ""), 7),
                      static_cast<alarm::Priority>(std::clamp(json.value("priority", 0), 0, 3)), json.value("utc", ""), false});
    if (row.kind == "delivery" && json.value("is_delivered", false)) {
      for (notify::ToldBefore& one : told)
        if (one.id == json.value("message", "")) one.is_delivered = true;
      last_delivered_[json.value("route", "")] = utc_label(row.utc_ms);
    }
    if (row.kind == "incident") remembered_[std::to_string(json.value("alarm", std::int64_t{0}))] = json.value("incident", std::int64_t{0});
  }
  if (courier_) courier_->restore(told);
}

void Telling::take(const alarm::Fact& as_met) {
  alarm::Fact fact = as_met;
  fact.at = links_.bench_now();
  figures_.note(fact);
  const std::int64_t incident = incidents_.take(fact);
  // The journal knows which incident an alarm belongs to: after a restart nobody is told of it a second time.
  const auto [known, is_new] = remembered_.try_emplace(std::to_string(fact.id), incident);
  if (is_new) links_.remember("incident", Json{{"alarm", fact.id}, {"incident", incident}, {"cause", alarm::to_word(fact.cause)}, {"unit", fact.unit}}.dump());
}

void Telling::tick(Boottime now) {
  if (courier_) send(courier_->step(incidents_.all(), links_.bench_now(), [this](std::int64_t incident) { return link_of(incident); }));
  for (const auto& waiting : drawn_) {
    if (waiting->is_gone || now - waiting->since < picture_patience) continue;
    waiting->is_gone = true;
    pass_on(std::move(waiting->message));
  }
  std::erase_if(drawn_, [](const auto& waiting) { return waiting->is_gone; });
  if (heartbeat_) heartbeat_->say(links_.trouble());
}

std::string Telling::link_of(std::int64_t incident) const {
  if (link_base_.empty()) return {};
  return fmt::format("{}/answer?incident={}&token={}", link_base_, incident, notify::link_token(key_, incident));
}

void Telling::send(std::vector<notify::Message> messages) {
  for (notify::Message& message : messages) {
    // On the disk before it goes out, in the transaction of the alarm where they come together.
    links_.remember("message", Json{{"id", message.id}, {"incident", message.incident}, {"person", message.person}, {"route", message.route}, {"purpose", notify::to_word(message.purpose)},
                                    {"priority", static_cast<int>(message.priority)}, {"utc", message.utc}, {"advice", notify::to_word(message.advice)}, {"subject", message.subject}, {"text", message.text}}.dump());
    spdlog::info("message {} to {} by {}: {}", message.id, message.person, message.route, message.subject);
    if (message.priority >= alarm::Priority::high && message.purpose != notify::Purpose::over) waiting_loud_[message.id] = boottime_now();
    const alarm::Incident* incident = incidents_.find(message.incident);
    if (incident == nullptr || !links_.picture || message.purpose == notify::Purpose::repeat) {
      pass_on(std::move(message));
      continue;
    }
    // A disk that hangs must not keep a message back: without its picture it goes after a moment.
    const auto waiting = std::make_shared<Drawn>(Drawn{std::move(message), boottime_now(), false});
    drawn_.push_back(waiting);
    links_.picture(*incident, [this, waiting](std::string png) {
      if (waiting->is_gone) return;
      waiting->message.picture = std::move(png);
      waiting->is_gone = true;
      pass_on(std::move(waiting->message));
    });
  }
}

void Telling::pass_on(notify::Message message) {
  if (sender_ && !sender_->send(message)) spdlog::error("message {}: there is no route {}", message.id, message.route);
}

void Telling::heard(const notify::Delivery& delivery) {
  if (!courier_ || !sender_) return;
  courier_->delivered(delivery, links_.bench_now());
  if (delivery.is_delivered || delivery.is_given_up) {
    links_.remember("delivery", Json{{"message", delivery.message}, {"route", delivery.route}, {"is_delivered", delivery.is_delivered}, {"attempt", delivery.attempt}, {"error", delivery.error}}.dump());
    waiting_loud_.erase(delivery.message);
  }
  if (delivery.is_delivered) refused_.erase(delivery.message);
  else if (refused_.contains(delivery.message) || refused_.size() < notify::Courier::told_max) refused_[delivery.message] = delivery.is_given_up ? "given_up" : "failing";
  if (delivery.is_delivered) last_delivered_[delivery.route] = utc_label(utc_now_ms());
  else spdlog::warn("message {} was not taken by {} (attempt {}): {}", delivery.message, delivery.route, delivery.attempt, delivery.error);
  const bool is_test = delivery.message.find("-test-") != std::string::npos;
  if (is_test && (delivery.is_delivered || delivery.attempt == 1))
    links_.remember("notify_test", Json{{"route", delivery.route}, {"is_delivered", delivery.is_delivered}, {"error", delivery.error}}.dump());
  links_.route_changed(delivery.route, delivery.is_delivered ? "" : delivery.error);
}

Result<nlohmann::ordered_json> Telling::test(const std::string& who) {
  if (!courier_) return fail(Fault::config, "no route to anybody is configured", "add [notify] with persons and routes to the configuration");
  auto messages = courier_->test(who, utc_label(utc_now_ms()));
  const std::size_t count = messages.size();
  send(std::move(messages));
  return Json{{"routes", count}};
}

// ---- what others ask -------------------------------------------------------------------------------------------

Result<std::vector<std::int64_t>> Telling::alarms_of(std::int64_t id) const {
  const alarm::Incident* incident = incidents_.find(id);
  if (incident == nullptr) return fail(Fault::bad_data, fmt::format("there is no incident {}", id));
  std::vector<std::int64_t> alarms;
  for (const alarm::Fact& fact : incident->facts) alarms.push_back(fact.id);
  return alarms;
}

std::vector<std::string> Telling::units_of(std::int64_t id) const {
  const alarm::Incident* incident = incidents_.find(id);
  return incident ? incident->units() : std::vector<std::string>{};
}

bool Telling::is_right_token(std::int64_t incident, const std::string& token) const { return incidents_.find(incident) != nullptr && notify::is_link_token(key_, incident, token); }

http::IncidentView Telling::view_of(const alarm::Incident& incident) const {
  http::IncidentView view;
  view.id = incident.id;
  view.cause = alarm::to_word(incident.cause);
  view.cause_name = incident.cause_name;
  view.priority = alarm::to_word(incident.priority);
  view.is_standing = incident.is_standing;
  view.is_acknowledged = incident.is_acknowledged();
  view.acknowledged_by = incident.acknowledged_by;
  view.opened_utc = links_.utc_of(incident.opened_at);
  view.title = notify::title_of(incident, links_.situation(incident));
  view.text = incident.leading().message;
  view.units = incident.units();
  for (const alarm::Fact& fact : incident.facts) view.alarms.push_back(fact.id);
  if (!courier_) return view;
  for (const notify::ToldBefore& told : courier_->told()) {
    if (told.incident != incident.id) continue;
    const auto refused = refused_.find(told.id);
    view.told.push_back({told.route, told.person, std::string(notify::to_word(told.purpose)), told.utc, told.is_delivered ? "delivered" : refused != refused_.end() ? refused->second : "waiting"});
  }
  return view;
}

nlohmann::ordered_json Telling::incident_json(std::int64_t id) const {
  const alarm::Incident* incident = incidents_.find(id);
  if (incident == nullptr) return nullptr;
  const http::IncidentView view = view_of(*incident);
  notify::Message message;
  notify::write_words(message, *incident, links_.situation(*incident));
  return {{"id", view.id}, {"title", view.title}, {"text", message.text}, {"priority", view.priority}, {"is_standing", view.is_standing}, {"is_acknowledged", view.is_acknowledged}, {"acknowledged_by", view.acknowledged_by}, {"units", view.units}};
}

std::vector<http::IncidentView> Telling::incidents_view() const {
  std::vector<http::IncidentView> views;
  const auto& all = incidents_.all();
  for (auto incident = all.rbegin(); incident != all.rend() && views.size() < incidents_shown_max; ++incident) views.push_back(view_of(*incident));
  return views;
}

std::vector<std::string> Telling::persons() const {
  std::vector<std::string> names;
  if (courier_)
    for (const auto& person : courier_->persons()) names.push_back(person.name);
  return names;
}

std::vector<std::string> Telling::routes_of(const std::string& name) const {
  if (courier_)
    for (const auto& person : courier_->persons())
      if (person.name == name) return person.routes;
  return {};
}

http::AlarmFiguresView Telling::figures_view() const {
  const alarm::FiguresNow now = figures_.at(links_.bench_now());
  http::AlarmFiguresView view;
  view.hours = now.hours;
  view.per_hour = now.per_hour;
  view.per_10_min = now.per_10_min;
  view.most_in_10_min = now.most_in_10_min;
  view.flood_share = now.flood_share;
  view.is_flood = now.is_flood;
  view.standing_over_24_h = now.standing_over_24_h;
  view.chattering = now.chattering;
  view.low = now.by_priority[0];
  view.medium = now.by_priority[1];
  view.high = now.by_priority[2];
  view.highest = now.by_priority[3];
  view.shelved = now.shelved;
  return view;
}

http::NotifyView Telling::notify_view() const {
  http::NotifyView view;
  if (sender_) {
    for (const notify::RouteHealth& route : sender_->health()) {
      const auto last = last_delivered_.find(route.name);
      const std::string state = !route.is_ok ? "failing" : route.is_tried || last != last_delivered_.end() ? "ok" : "untested";
      view.routes.push_back({route.name, route.kind, route.where, state, route.reason, route.waiting, last == last_delivered_.end() ? "" : last->second});
    }
  }
  if (heartbeat_) {
    const auto state = heartbeat_->state();
    view.heartbeat = state.is_held ? "held" : state.is_failing ? "failing" : "sent";
    view.heartbeat_reason = state.reason;
  }
  return view;
}

std::vector<std::string> Telling::morning_lines() const {
  std::vector<std::string> lines;
  for (const http::RouteView& route : notify_view().routes)
    if (route.state == "failing") lines.push_back(fmt::format("route {} does not work: {}", route.name, route.reason));
  return lines;
}

bool Telling::is_outbox_stuck() const {
  const Boottime now = boottime_now();
  return std::any_of(waiting_loud_.begin(), waiting_loud_.end(), [&](const auto& entry) { return now - entry.second > outbox_stuck_after; });
}

}  // namespace steadyglow::app
