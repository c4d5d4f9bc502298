/// What a person may order and ask, as the program's rooms understand it.
#include <fmt/format.h>

#include <charconv>

#include "app/bench.hpp"
#include "app/cautions.hpp"
#include "app/morning.hpp"
#include "app/policy_form.hpp"
#include "app/readiness.hpp"
#include "app/telling.hpp"
#include "http/json.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

std::optional<std::int64_t> number_of(const std::string& text) {
  std::int64_t number = 0;
  const auto [end, status] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (status != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return number;
}

Json to_json(const std::vector<ReadyItem>& items) {
  Json list = Json::array();
  for (const ReadyItem& item : items)
    list.push_back({{"key", item.key}, {"title", item.title}, {"state", to_word(item.answer)}, {"reason", item.reason}, {"action", item.action}});
  return {{"is_ready", is_ready(items)}, {"items", std::move(list)}};
}

bool is_one_of(const std::string& word, std::initializer_list<const char*> words) {
  return std::any_of(words.begin(), words.end(), [&](const char* one) { return word == one; });
}

}  // namespace

Result<nlohmann::ordered_json> Bench::carry_out(const http::Order& order) {
  const store::Store::Together together(*store_);
  if (order.what == "alarms") return order_alarm(order);
  if (order.what == "units") return order_unit(order);
  if (order.what == "benches") return order_bench(order);
  if (order.what == "incidents") return order_incident(order);
  if (order.what == "cards") return cards_->add(order);
  if (order.what == "wiring") return desk_->carry_out(order);
  if (order.what == "notify") return telling_->test(order.who());
  if (order.what == "morning") {
    const std::string id = order.text("id");
    if (id.empty()) return fail(Fault::usage, "`id` is missing", "the sheet shows it");
    remember("tick", Json{{"item", id}, {"who", order.who()}}.dump());
    return Json{{"id", id}, {"ticked_by", facts_.tick(id)->who}};
  }
  if (order.what == "answer") return answer_link(order);
  return fail(Fault::bad_data, "this order is not known");
}

Result<nlohmann::ordered_json> Bench::order_alarm(const http::Order& order) {
  const auto alarm = number_of(order.name);
  if (!alarm) return fail(Fault::bad_data, "there is no alarm " + order.name);
  if (bench_alarms_.owns(*alarm)) {
    if (!bench_alarms_.acknowledge(*alarm, order.who(), order.text("note"), bench_now())) return fail(Fault::usage, "this alarm is acknowledged already");
    return Json{{"alarm", {{"id", *alarm}, {"acknowledged_by", order.who()}}}};
  }
  for (auto& session : sessions_) {
    if (!session->owns_alarm(*alarm)) continue;
    const auto view = session->acknowledge(*alarm, order.who(), order.text("note"));
    if (!view) return tl::unexpected(view.error());
    return Json{{"alarm", http::to_json(*view)}};
  }
  return fail(Fault::bad_data, fmt::format("there is no alarm {}", *alarm), "the number is the one that status and the page show");
}

Result<void> Bench::start_unit(UnitSession& session, const http::Order& order) {
  auto policy = read_policy(order.body.contains("policy") ? order.body["policy"] : nlohmann::json(nullptr), order.who(), Timestamp{});
  if (!policy) return tl::unexpected(policy.error());
  if (policy->is_unattended) {
    const auto items = ready_list(session, order.who());
    remember("ready", Json{{"unit", session.settings().name}, {"who", order.who()}, {"is_ready", is_ready(items)}, {"reasons", reasons_of(items)}}.dump());
    if (!is_ready(items)) return fail(Fault::permission, "it is not ready to be left: " + reasons_of(items), "start it attended, stay near it, and mend the red lines; \"no\" is a normal answer");
  }
  if (auto may = session.may_start(order.who(), order.flag("at_the_bench")); !may) return may;
  // The contactor comes first: behind an open one nothing could start.
  if (const auto bench = session.settings().bench_index; bench && supplies_[*bench]->has_contactor() && !supplies_[*bench]->is_contactor_wanted_closed())
    if (auto closed = supplies_[*bench]->close(order.who(), order.flag("at_the_bench")); !closed) return closed;
  return session.start(order.who(), order.flag("at_the_bench"), *policy);
}

Result<void> Bench::leave_unit(UnitSession& session, const http::Order& order) {
  if (!session.engine() || session.engine()->is_over()) return fail(Fault::usage, "this unit has no run that is going on", "start it attended first");
  auto policy = read_policy(order.body.contains("policy") ? order.body["policy"] : nlohmann::json(nullptr), order.who(), session.run_now());
  if (!policy) return tl::unexpected(policy.error());
  policy->is_unattended = true;
  const auto items = ready_list(session, order.who());
  remember("ready", Json{{"unit", session.settings().name}, {"who", order.who()}, {"is_ready", is_ready(items)}, {"reasons", reasons_of(items)}}.dump());
  if (!is_ready(items)) return fail(Fault::permission, "it is not ready to be left: " + reasons_of(items), "stay near it, or pause it until the morning; \"no\" is a normal answer");
  return session.leave(*policy);
}

Result<void> Bench::enter_fact(UnitSession& session, const http::Order& order) {
  const std::string kind = order.text("kind");
  if (!is_one_of(kind, {"safety_test", "limits_reviewed", "clips_touched"})) return fail(Fault::usage, "`" + kind + "` is no fact of a unit", "safety_test, limits_reviewed or clips_touched");
  if (order.text("text").empty()) return fail(Fault::usage, "`text` is empty", "say what was measured, or where the limits come from");
  remember("unit_fact", Json{{"unit", session.settings().name}, {"serial", session.settings().serial}, {"kind", kind}, {"who", order.who()}, {"text", order.text("text")},
                             {"of", checksum_of(session.settings().profile_text)}}.dump());
  return {};
}

Result<nlohmann::ordered_json> Bench::order_unit(const http::Order& order) {
  UnitSession* session = find_unit(order.name);
  if (session == nullptr) return fail(Fault::bad_data, fmt::format("there is no unit `{}`", order.name));
  if (order.verb == "touched") return desk_->touched(unit_index(*session), order);
  Result<void> done = fail(Fault::bad_data, "this order is not known");
  if (order.verb == "start") done = start_unit(*session, order);
  if (order.verb == "leave") done = leave_unit(*session, order);
  if (order.verb == "stop") done = session->stop(order.who(), order.text("why"));
  if (order.verb == "repaired") done = session->repaired(order.who(), order.text("note"));
  if (order.verb == "acts") {
    nlohmann::json fields = order.body;
    const std::string kind = order.text("kind");
    fields.erase("kind");
    if (is_one_of(kind, {"resume", "relay_open", "bench_opened", "supply_steady", "leave"})) return fail(Fault::permission, "`" + kind + "` is no act of a person");
    auto act = soak::act_from_json(kind, fields.dump());
    if (!act) return tl::unexpected(act.error());
    if (act->alarm > 0) {
      if (!session->owns_alarm(act->alarm)) return fail(Fault::bad_data, fmt::format("there is no alarm {} of this unit's run", act->alarm));
      act->alarm %= alarms_per_run;
    }
    const auto bench = session->settings().bench_index;
    if (act->kind == soak::ActKind::go_on && bench && supplies_[*bench]->has_contactor() && !supplies_[*bench]->is_contactor_wanted_closed())
      return fail(Fault::usage, "the bench contactor is open: " + supplies_[*bench]->contactor().reason(), "look at the bench, close its contactor, then go on");
    done = session->act(*act);
    if (act->kind == soak::ActKind::sign && session->run_id()) cards_->run_was_signed(*session->run_id());
  }
  if (order.verb == "facts") {
    done = enter_fact(*session, order);
    if (done) return Json{{"ready", to_json(ready_list(*session, order.who()))}};
  }
  if (!done) return tl::unexpected(done.error());
  return Json{{"unit", http::to_json(session->view())}};
}

Result<nlohmann::ordered_json> Bench::order_bench(const http::Order& order) {
  const auto found = std::find_if(settings_.benches.begin(), settings_.benches.end(), [&](const BenchSettings& bench) { return bench.name == order.name; });
  if (found == settings_.benches.end()) return fail(Fault::bad_data, fmt::format("there is no bench `{}`", order.name));
  const auto bench = static_cast<std::size_t>(found - settings_.benches.begin());
  Result<void> done = fail(Fault::bad_data, "this order is not known");
  if (order.verb == "cut") {
    // Off is always allowed. What has no contactor is switched off unit by unit.
    const std::string why = fmt::format("{} cut the bench{}", order.who(), order.text("why").empty() ? "" : ": " + order.text("why"));
    open_bench(bench, {}, why, true);
    done = {};
    if (!supplies_[bench]->has_contactor())
      for (auto& session : sessions_)
        if (session->settings().bench_index == bench) done = session->stop(order.who(), why);
  }
  if (order.verb == "close") done = supplies_[bench]->close(order.who(), order.flag("at_the_bench"));
  if (order.verb == "repaired") done = supplies_[bench]->repaired(order.who());
  if (order.verb == "rehearse") done = rehearse(bench, order);
  if (order.verb == "cautions") done = accept_cautions(order);
  if (!done) return tl::unexpected(done.error());
  return Json{{"bench", http::to_json(supply_view(bench))}};
}

Result<void> Bench::rehearse(std::size_t bench, const http::Order& order) {
  UnitSession* session = find_unit(order.text("unit"));
  if (session == nullptr || session->settings().bench_index != bench) return fail(Fault::bad_data, fmt::format("there is no unit `{}` at this bench", order.text("unit")));
  for (const auto& other : sessions_)
    if (other.get() != session && other->settings().bench_index == bench && other->is_powered() && supplies_[bench]->has_contactor())
      return fail(Fault::usage, other->settings().title + " is running at the same bench: the contactor would break it too", "pause it first, and let it go on afterwards");
  return session->rehearse(order.who(), supplies_[bench]->has_contactor());
}

Result<void> Bench::accept_cautions(const http::Order& order) {
  if (!order.body.contains("accepted") || !order.body["accepted"].is_array()) return fail(Fault::usage, "`accepted` is no list of cautions");
  for (const auto& key : order.body["accepted"])
    if (!key.is_string()) return fail(Fault::usage, "`accepted` is no list of cautions");
  remember("cautions", Json{{"who", order.who()}, {"bench", order.name}, {"accepted", order.body["accepted"]}}.dump());
  return {};
}

Result<nlohmann::ordered_json> Bench::order_incident(const http::Order& order) {
  const auto incident = number_of(order.name);
  if (!incident) return fail(Fault::bad_data, "there is no incident " + order.name);
  return acknowledge_incident(*incident, order.who(), order.text("note"));
}

Result<nlohmann::ordered_json> Bench::acknowledge_incident(std::int64_t incident, const std::string& who, const std::string& note) {
  const auto alarms = telling_->alarms_of(incident);
  if (!alarms) return tl::unexpected(alarms.error());
  for (const std::int64_t alarm : *alarms) {
    if (bench_alarms_.owns(alarm)) (void)bench_alarms_.acknowledge(alarm, who, note, bench_now());
    for (auto& session : sessions_)
      if (session->owns_alarm(alarm)) (void)session->acknowledge(alarm, who, note);
  }
  return Json{{"incident", telling_->incident_json(incident)}};
}

/// What the link in a message may do: look, acknowledge, and switch off. Nothing is switched on from a bed.
Result<nlohmann::ordered_json> Bench::answer_link(const http::Order& order) {
  const auto number = order.body.contains("incident") && order.body["incident"].is_number_integer() ? order.body["incident"].get<std::int64_t>() : 0;
  if (!telling_->is_right_token(number, order.text("token"))) return fail(Fault::permission, "this link is not one of ours", "open the page of the bench instead");
  const std::string who = order.who().empty() ? "by a message's link" : order.who();
  const std::string what = order.text("do");
  if (what == "show") return Json{{"incident", telling_->incident_json(number)}};
  if (what == "acknowledge") return acknowledge_incident(number, who, "by the link of a message");
  if (what == "cut_unit") {
    for (const std::string& unit : telling_->units_of(number))
      if (UnitSession* session = find_unit(unit)) (void)session->stop(who, "by the link of a message");
    return Json{{"incident", telling_->incident_json(number)}};
  }
  if (what == "cut_bench") {
    for (const std::string& unit : telling_->units_of(number))
      if (UnitSession* session = find_unit(unit); session != nullptr && session->settings().bench_index) open_bench(*session->settings().bench_index, {}, who + " cut the bench by a message's link", true);
    return Json{{"incident", telling_->incident_json(number)}};
  }
  return fail(Fault::usage, "`" + what + "` cannot be done by a link", "show, acknowledge, cut_unit or cut_bench");
}

// ---- questions -------------------------------------------------------------------------------------------------

std::vector<ReadyItem> Bench::ready_list(const UnitSession& session, const std::string& who) const {
  const UnitSettings& unit = session.settings();
  const BenchSettings* bench = unit.bench_index ? &settings_.benches[*unit.bench_index] : nullptr;
  const BenchSupply* supply = unit.bench_index ? supplies_[*unit.bench_index].get() : nullptr;
  ReadySituation now;
  now.utc_ms = utc_now_ms();
  for (std::size_t i = 0; i < unit.profile.points.size(); ++i) {
    const profile::Point& point = unit.profile.points[i];
    const auto reading = session.point_now(PointId{static_cast<std::uint16_t>(i)});
    const bool is_fresh = reading.age_s <= seconds_of(unit.plan.silent_after);
    now.points.push_back({point.name, point.is_protective && !point.is_mains(), !point.trip.empty() || !point.warn.empty(), reading.quality == Quality::good && is_fresh,
                          reading.quality != Quality::good ? std::string(to_word(reading.quality)) : is_fresh ? "" : "nothing comes"});
  }
  now.clips_touched = desk_->touched_words(unit);
  now.profile_checksum = checksum_of(unit.profile_text);
  now.relay = facts_.contact(unit.name + ".outlet");
  if (supply != nullptr) {
    now.has_contactor = supply->has_contactor();
    now.is_contactor_closed = supply->is_contactor_closed();
    now.contactor = facts_.contact(bench->name + ".contactor");
    now.has_watchdog = supply->watchdog() != nullptr;
    const http::SupplyView view = supply_view(*unit.bench_index);
    if (view.watchdog.state == "held") now.watchdog_trouble = view.watchdog.reason;
    now.bench_amperes = amperes_of(*unit.bench_index, unit.name).value_or(0.0);
    now.has_smoke_contact = bench->smoke.has_value();
    now.is_smoke = supply->is_smoke();
  }
  now.unit_amperes = session.amperes_expected();
  now.persons = telling_->persons();
  now.routes_of_first = telling_->routes_of(bench != nullptr && !bench->person_on_call.empty() ? bench->person_on_call : now.persons.empty() ? std::string{} : now.persons.front());
  now.was_attended_for_an_hour = session.was_attended_for(std::chrono::hours{1});
  now.has_heartbeat = telling_->notify_view().heartbeat != "none";
  return ready_to_leave(unit, bench, facts_, who, now);
}

Result<nlohmann::ordered_json> Bench::answer(const std::string& what, const std::string& name, const std::function<std::string(const char*)>& value) {
  if (what == "ready") {
    const UnitSession* session = find_unit(name);
    if (session == nullptr) return fail(Fault::bad_data, fmt::format("there is no unit `{}`", name));
    return to_json(ready_list(*session, value("who")));
  }
  if (what == "clips" || what == "wiggle") {
    const UnitSession* session = find_unit(name);
    if (session == nullptr) return fail(Fault::bad_data, fmt::format("there is no unit `{}`", name));
    return what == "clips" ? desk_->clips(unit_index(*session)) : desk_->wiggle(unit_index(*session));
  }
  if (what == "wiring") return desk_->search(value);
  if (what == "cautions") {
    Json list = Json::array();
    for (const Caution& caution : cautions()) list.push_back({{"key", caution.key}, {"sentence", caution.sentence}});
    return Json{{"cautions", std::move(list)}};
  }
  if (what == "morning") return morning_sheet(value("from_utc"));
  return fail(Fault::bad_data, fmt::format("there is no `{}` here", what));
}

nlohmann::ordered_json Bench::morning_sheet(const std::string& from_utc) const {
  const std::int64_t now = utc_now_ms();
  constexpr double ms_per_hour = 3600000.0;
  const std::int64_t from = from_utc.empty() ? now - static_cast<std::int64_t>(morning_hours * ms_per_hour / settings_.clock_rate) : utc_from_label(from_utc);
  Json units = Json::array();
  for (const auto& session : sessions_) {
    Json unit = morning_of(*session, facts_, from);
    if (!unit.is_null()) units.push_back(std::move(unit));
  }
  Json bench = Json::array();
  for (const alarm::Fact& fact : bench_alarms_.facts()) {
    if (fact.state == alarm::State::normal) continue;
    bench.push_back(fact.message + (fact.is_condition_true ? "" : " (over)"));
  }
  for (std::size_t i = 0; i < supplies_.size(); ++i) {
    const http::SupplyView view = supply_view(i);
    if (view.contactor.state == "open") bench.push_back(view.name + ": the bench contactor is open: " + view.contactor.reason);
  }
  for (const auto& line : telling_->morning_lines()) bench.push_back(line);
  return {{"from_utc", utc_label(from)}, {"to_utc", utc_label(now)}, {"units", std::move(units)}, {"bench", std::move(bench)}};
}

}  // namespace steadyglow::app
