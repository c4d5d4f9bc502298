#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "app/ask_daemon.hpp"
#include "app/commands.hpp"
#include "app/exit_code.hpp"
#include "app/text_file.hpp"
#include "core/decimal.hpp"
#include "http/client.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::json;

std::string hours(double seconds) { return fmt::format("{:.1f} h", seconds / 3600.0); }

std::string outlet_text(const Json& outlet) {
  std::string text = text_of(outlet["state"]);
  const std::string proof = text_of(outlet["proof"]);
  if (proof == "proven") text = "off, proven";
  if (proof == "failed") text = "ORDERED OFF, NOT OFF";
  if (proof == "waiting") text = "ordered off, not proven yet";
  return text + (outlet.value("is_interlocked", false) ? ", locked" : "");
}

}  // namespace

Result<Json> ask_daemon(const BenchAddress& bench, const std::string& method, const std::string& target, const Json& body) {
  std::string password;
  if (!bench.password_file.empty()) {
    const auto text = read_text_file(bench.password_file);
    if (!text) return tl::unexpected(text.error());
    password = text->substr(0, text->find_first_of("\r\n"));
  }
  const auto answer = http::ask(bench.host, bench.port, method, target, body.is_null() ? "" : body.dump(), password);
  if (!answer) return tl::unexpected(answer.error());
  Json json = Json::parse(answer->body, nullptr, false);
  if (json.is_discarded()) return fail(Fault::bad_data, "the answer is no JSON", "is another program listening there?", bench.host + ":" + std::to_string(bench.port));
  if (answer->status >= 200 && answer->status < 300) return json;
  const Fault fault = answer->status == 401 || answer->status == 403 || answer->status == 409 ? Fault::permission : Fault::usage;
  return fail(fault, json.value("error", "refused"), json.value("hint", ""));
}

std::string text_of(const Json& json) { return json.is_string() ? json.get<std::string>() : ""; }

void print_unit(const Json& unit) {
  fmt::print("{} ({}, {})\n", text_of(unit["title"]), text_of(unit["name"]), text_of(unit["bench"]));
  if (const Json& run = unit["run"]; run.is_object()) {
    const std::string why = text_of(run["not_counting_because"]);
    fmt::print("  run {} {}, {}: {} counted of {}{}\n", run["id"].get<std::int64_t>(), text_of(run["state"]), text_of(run["stage"]),
               hours(run["counted_s"]), hours(run["planned_s"]), why.empty() ? "" : " (not counting: " + why + ")");
    if (const Json& verdict = run["verdict"]; verdict.is_object()) {
      fmt::print("  verdict proposed: {}\n", text_of(verdict["word"]));
      for (const Json& reason : verdict["reasons"]) fmt::print("    {}\n", text_of(reason));
    }
  } else {
    fmt::print("  no run\n");
  }
  fmt::print("  outlet: {}\n", outlet_text(unit["outlet"]));
  if (const Json& worst = unit["worst"]; worst.is_object())
    fmt::print("  nearest to a limit: {} at {} of {} ({:.0f} % of the way)\n", text_of(worst["point"]), to_figure(worst["value"], 4), to_figure(worst["limit"], 4), 100.0 * worst["share"].get<double>());
}

int status(const BenchAddress& bench, bool is_json) {
  const auto json = ask_daemon(bench, "GET", "/api/v1/bench");
  if (!json) return say(json.error());
  bool needs_person = false;
  for (const Json& alarm : (*json)["alarms"]) needs_person |= text_of(alarm["state"]).find("unacknowledged") != std::string::npos;
  if (is_json) {
    fmt::print("{}\n", json->dump(2));
    return needs_person ? exit_not_good : exit_good;
  }
  if (json->value("is_accelerated", false)) fmt::print("DEMO: the clock runs {} times faster\n", json->value("clock_rate", 1.0));
  for (const Json& unit : (*json)["units"]) print_unit(unit);
  for (const Json& bus : (*json)["buses"])
    if (text_of(bus["state"]) != "ok") fmt::print("bus {} ({}) is {}\n", text_of(bus["name"]), text_of(bus["where"]), text_of(bus["state"]));
  if (const Json& store = (*json)["store"]; text_of(store["state"]) != "ok") fmt::print("store: {}: {}\n", text_of(store["state"]), text_of(store["reason"]));
  for (const Json& alarm : (*json)["alarms"])
    fmt::print("alarm {} {} {} {}: {}\n", alarm["id"].get<std::int64_t>(), text_of(alarm["unit"]), text_of(alarm["severity"]), text_of(alarm["state"]), text_of(alarm["message"]));
  return needs_person ? exit_not_good : exit_good;
}

int acknowledge(const BenchAddress& bench, std::int64_t alarm, const std::string& who, const std::string& note) {
  const auto json = ask_daemon(bench, "POST", fmt::format("/api/v1/alarms/{}/acknowledge", alarm), {{"who", who}, {"note", note}});
  if (!json) return say(json.error());
  fmt::print("alarm {} is now {}\n", alarm, text_of((*json)["alarm"]["state"]));
  return exit_good;
}

int start(const BenchAddress& bench, const std::string& unit, const std::string& who, bool is_at_the_bench) {
  fmt::print(stderr, "Caution: this puts mains on the unit. Lethal voltages; fire is possible. Covers on, clips fitted cold, nobody's hands inside.\n");
  const auto json = ask_daemon(bench, "POST", "/api/v1/units/" + unit + "/start", {{"who", who}, {"at_the_bench", is_at_the_bench}});
  if (!json) return say(json.error());
  print_unit((*json)["unit"]);
  return exit_good;
}

int stop(const BenchAddress& bench, const std::string& unit, const std::string& who, const std::string& why) {
  const auto json = ask_daemon(bench, "POST", "/api/v1/units/" + unit + "/stop", {{"who", who}, {"why", why}});
  if (!json) return say(json.error());
  print_unit((*json)["unit"]);
  fmt::print(stderr, "Caution: off is proven only by the current falling to nothing, and capacitors stay charged: measure before you touch.\n");
  return exit_good;
}

}  // namespace steadyglow::app
