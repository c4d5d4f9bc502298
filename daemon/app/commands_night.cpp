/// Commands about the night: what one does to a run, leaving it, the bench's contactor, incidents, the morning.
#include <fmt/format.h>

#include <cctype>
#include <nlohmann/json.hpp>

#include "app/ask_daemon.hpp"
#include "app/commands.hpp"
#include "app/exit_code.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::json;

void print_caution_on() {
  fmt::print(stderr, "Caution: this puts mains on. Lethal voltages; fire is possible. Covers on, clips fitted cold, nobody's hands inside.\n");
}
void print_caution_off() {
  fmt::print(stderr, "Caution: off is proven only by the current falling to nothing, and capacitors stay charged: measure before you touch.\n");
}

/// A name inside an address: everything but letters, digits, - . _ ~ is escaped (RFC 3986, 2.3).
std::string in_address(const std::string& name) {
  std::string out;
  for (const unsigned char c : name)
    out += std::isalnum(c) || c == '-' || c == '.' || c == '_' || c == '~' ? std::string(1, static_cast<char>(c)) : fmt::format("%{:02X}", c);
  return out;
}

void print_ready(const Json& ready) {
  for (const Json& item : ready["items"]) {
    const std::string state = text_of(item["state"]);
    fmt::print("{:>10}  {}{}{}\n", state == "yes" ? "yes" : state == "no" ? "NO" : "-", text_of(item["title"]), text_of(item["reason"]).empty() ? "" : ": ", text_of(item["reason"]));
    if (state == "no" && !text_of(item["action"]).empty()) fmt::print("{:>10}  {}\n", "", text_of(item["action"]));
  }
  fmt::print("{}", ready.value("is_ready", false) ? "Ready to leave.\n" : "Not ready to leave. That is a normal answer: stay near it, or let it cool down until the morning.\n");
}

void print_bench(const Json& bench) {
  fmt::print("{}: contactor {}{}, watchdog {}, smoke contact {}\n", text_of(bench["name"]), text_of(bench["contactor"]["state"]), bench["contactor"].value("is_defective", false) ? " DEFECTIVE" : "",
             text_of(bench["watchdog"]["state"]), text_of(bench["smoke"]));
  if (const Json& rehearsal = bench["rehearsal"]; text_of(rehearsal["state"]) != "none")
    fmt::print("  rehearsal {} with {}: {}\n", text_of(rehearsal["state"]), text_of(rehearsal["unit"]), text_of(rehearsal["text"]));
}

int bench_order(const BenchAddress& daemon, const std::string& bench, const std::string& verb, const Json& body) {
  const auto json = ask_daemon(daemon, "POST", "/api/v1/benches/" + in_address(bench) + "/" + verb, body);
  if (!json) return say(json.error());
  print_bench((*json)["bench"]);
  return exit_good;
}

}  // namespace

int act(const BenchAddress& daemon, const std::string& unit, const ActWords& words) {
  if (words.kind == "go_on") print_caution_on();
  Json body{{"who", words.who}, {"kind", words.kind}};
  if (!words.why.empty()) body["why"] = words.why;
  if (words.alarm) body["alarm"] = *words.alarm;
  if (words.minutes) body["minutes"] = *words.minutes;
  if (!words.points.empty()) body["points"] = words.points;
  if (!words.control.empty()) body["control"] = words.control;
  if (words.before) body["before"] = *words.before;
  if (words.after) body["after"] = *words.after;
  if (!words.bench.empty()) body["bench"] = words.bench;
  if (!words.word.empty()) body["word"] = words.word;
  const auto json = ask_daemon(daemon, "POST", "/api/v1/units/" + in_address(unit) + "/acts", body);
  if (!json) return say(json.error());
  print_unit((*json)["unit"]);
  if (words.kind == "pause") print_caution_off();
  return exit_good;
}

int leave(const BenchAddress& daemon, const std::string& unit, const PolicyWords& words) {
  Json policy{{"is_unattended", true}, {"after_mains", words.is_staged ? "staged" : "stay_off"}, {"on_forecast", words.cuts_on_forecast ? "cut" : "tell"},
              {"is_cut_when_stuck", words.is_cut_when_stuck}, {"wakes_for_forecast", words.wakes_for_forecast}};
  if (words.back_in_minutes) policy["person_back_in_minutes"] = *words.back_in_minutes;
  const auto json = ask_daemon(daemon, "POST", "/api/v1/units/" + in_address(unit) + "/leave", {{"who", words.who}, {"policy", policy}});
  if (!json) {
    const auto list = ask_daemon(daemon, "GET", "/api/v1/units/" + in_address(unit) + "/ready?who=" + in_address(words.who));
    if (list) print_ready(*list);
    return say(json.error());
  }
  print_unit((*json)["unit"]);
  fmt::print(stderr, "Caution: fuse, RCD or GFCI, thermal cut-out and smoke alarm must work with this computer switched off.\n");
  return exit_good;
}

int ready(const BenchAddress& daemon, const std::string& unit, const std::string& who) {
  const auto json = ask_daemon(daemon, "GET", "/api/v1/units/" + in_address(unit) + "/ready?who=" + in_address(who));
  if (!json) return say(json.error());
  print_ready(*json);
  return json->value("is_ready", false) ? exit_good : exit_not_good;
}

int enter_fact(const BenchAddress& daemon, const std::string& unit, const std::string& kind, const std::string& text, const std::string& who) {
  const auto json = ask_daemon(daemon, "POST", "/api/v1/units/" + in_address(unit) + "/facts", {{"who", who}, {"kind", kind}, {"text", text}});
  if (!json) return say(json.error());
  print_ready((*json)["ready"]);
  return exit_good;
}

int unit_repaired(const BenchAddress& daemon, const std::string& unit, const std::string& who, const std::string& note) {
  const auto json = ask_daemon(daemon, "POST", "/api/v1/units/" + in_address(unit) + "/repaired", {{"who", who}, {"note", note}});
  if (!json) return say(json.error());
  fmt::print("noted; it must be rehearsed before the unit may be left: steadyglow rehearse BENCH {}\n", unit);
  return exit_good;
}

int rehearse(const BenchAddress& daemon, const std::string& bench, const std::string& unit, const std::string& who) {
  fmt::print(stderr, "Stay beside it: the unit's relay, then the bench contactor, are opened and closed again.\n");
  return bench_order(daemon, bench, "rehearse", {{"who", who}, {"unit", unit}});
}

int cut_bench(const BenchAddress& daemon, const std::string& bench, const std::string& who, const std::string& why) {
  const int result = bench_order(daemon, bench, "cut", {{"who", who}, {"why", why}});
  print_caution_off();
  return result;
}

int close_bench(const BenchAddress& daemon, const std::string& bench, const std::string& who, bool is_at_the_bench) {
  print_caution_on();
  return bench_order(daemon, bench, "close", {{"who", who}, {"at_the_bench", is_at_the_bench}});
}

int bench_repaired(const BenchAddress& daemon, const std::string& bench, const std::string& who, const std::string& note) {
  return bench_order(daemon, bench, "repaired", {{"who", who}, {"note", note}});
}

int show_cautions(const BenchAddress& daemon, const std::string& bench, const std::string& who, bool accepts) {
  const auto json = ask_daemon(daemon, "GET", "/api/v1/cautions");
  if (!json) return say(json.error());
  Json keys = Json::array();
  for (const Json& caution : (*json)["cautions"]) {
    fmt::print("- {}\n", text_of(caution["sentence"]));
    keys.push_back(caution["key"]);
  }
  if (!accepts) return exit_good;
  if (who.empty() || bench.empty()) return say(Error{Fault::usage, "accepting needs a name and a bench", "steadyglow cautions --accept --who NAME --bench BENCH", {}});
  return bench_order(daemon, bench, "cautions", {{"who", who}, {"accepted", keys}});
}

int notify_test(const BenchAddress& daemon, const std::string& who) {
  const auto json = ask_daemon(daemon, "POST", "/api/v1/notify/test", {{"who", who}});
  if (!json) return say(json.error());
  fmt::print("sent by {} route(s); see that they come, then look with: steadyglow incidents\n", json->value("routes", 0));
  return exit_good;
}

int incidents(const BenchAddress& daemon, bool is_json) {
  const auto json = ask_daemon(daemon, "GET", "/api/v1/bench");
  if (!json) return say(json.error());
  if (is_json) {
    fmt::print("{}\n", Json{{"incidents", (*json)["incidents"]}, {"alarm_figures", (*json)["alarm_figures"]}, {"notify", (*json)["notify"]}}.dump(2));
    return exit_good;
  }
  for (const Json& bench : (*json)["benches"]) print_bench(bench);
  for (const Json& incident : (*json)["incidents"]) {
    fmt::print("{} [{}] {}{}\n  {}\n", incident["id"].get<std::int64_t>(), text_of(incident["priority"]), text_of(incident["title"]),
               incident.value("is_acknowledged", false) ? ", acknowledged by " + text_of(incident["acknowledged_by"]) : incident.value("is_standing", false) ? ", standing" : ", over", text_of(incident["text"]));
    for (const Json& told : incident["told"]) fmt::print("  told {} by {} ({}): {}\n", text_of(told["person"]), text_of(told["route"]), text_of(told["purpose"]), text_of(told["state"]));
  }
  for (const Json& route : (*json)["notify"]["routes"])
    fmt::print("route {} ({}): {}{}{}\n", text_of(route["name"]), text_of(route["where"]), text_of(route["state"]), text_of(route["reason"]).empty() ? "" : ": ", text_of(route["reason"]));
  return exit_good;
}

int acknowledge_incident(const BenchAddress& daemon, std::int64_t incident, const std::string& who, const std::string& note) {
  const auto json = ask_daemon(daemon, "POST", fmt::format("/api/v1/incidents/{}/acknowledge", incident), {{"who", who}, {"note", note}});
  if (!json) return say(json.error());
  fmt::print("incident {} is acknowledged by {}\n", incident, who);
  return exit_good;
}

int morning(const BenchAddress& daemon, bool is_json) {
  const auto json = ask_daemon(daemon, "GET", "/api/v1/morning");
  if (!json) return say(json.error());
  if (is_json) {
    fmt::print("{}\n", json->dump(2));
    return exit_good;
  }
  fmt::print("While you slept, {} to {}\n", text_of((*json)["from_utc"]), text_of((*json)["to_utc"]));
  for (const Json& line : (*json)["bench"]) fmt::print("  {}\n", text_of(line));
  for (const Json& unit : (*json)["units"]) {
    fmt::print("\n{}: {}\n", text_of(unit["title"]), text_of(unit["headline"]));
    for (const Json& gap : unit["gaps"]) fmt::print("  gap    {}\n", text_of(gap));
    for (const Json& slope : unit["slopes"]) fmt::print("  slope  {} {}\n", text_of(slope["point"]), text_of(slope["text"]));
    for (const Json& did : unit["did"]) fmt::print("  did    {} {}\n", text_of(did["utc"]), text_of(did["text"]));
    for (const Json& item : unit["items"])
      fmt::print("  [{}] {} ({}){}\n", item.value("is_ticked", false) ? "x" : " ", text_of(item["text"]), text_of(item["id"]), item.value("is_ticked", false) ? ", " + text_of(item["ticked_by"]) : "");
  }
  return exit_good;
}

int tick(const BenchAddress& daemon, const std::string& id, const std::string& who) {
  const auto json = ask_daemon(daemon, "POST", "/api/v1/morning/tick", {{"who", who}, {"id", id}});
  if (!json) return say(json.error());
  fmt::print("{} is dealt with\n", id);
  return exit_good;
}

}  // namespace steadyglow::app
