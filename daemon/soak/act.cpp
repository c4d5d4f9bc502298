#include "soak/act.hpp"

#include <array>

#include "soak/fields.hpp"
#include "soak/policy.hpp"

namespace steadyglow::soak {
namespace {

constexpr std::array<std::string_view, 19> words{"acknowledge",  "reset", "shelve", "unshelve", "out_of_service", "into_service", "stop",       "pause",        "go_on",        "touch",
                                                 "replace_part", "move",  "remark", "leave",    "sign",           "resume",       "relay_open", "bench_opened", "supply_steady"};

std::optional<ActKind> kind_of(std::string_view word) {
  for (std::size_t i = 0; i < words.size(); ++i)
    if (words[i] == word) return static_cast<ActKind>(i);
  return std::nullopt;
}

bool is_of_an_alarm(ActKind kind) { return kind <= ActKind::into_service; }

std::optional<Error> lacking(const Act& act) {
  const auto lacks = [&](const char* field, const char* hint) { return Error{Fault::usage, std::string("`") + field + "` is needed to " + std::string(to_word(act.kind)), hint, {}}; };
  if (is_of_an_alarm(act.kind) && act.alarm == 0) return lacks("alarm", "its number is shown with it");
  if (act.kind == ActKind::shelve && act.minutes <= 0.0) return lacks("minutes", "an alarm is put aside for a time");
  if (act.kind == ActKind::shelve && act.why.empty()) return lacks("why", "whoever reads it later wants the reason");
  if (act.kind == ActKind::touch && (act.points.empty() || act.control.empty())) return lacks(act.points.empty() ? "points" : "control", "which points does the trimmer move, and which one is it");
  if (act.kind == ActKind::replace_part && act.control.empty()) return lacks("control", "which part");
  if (act.kind == ActKind::move && act.bench.empty()) return lacks("bench", "where does it stand now");
  if (act.kind == ActKind::remark && act.why.empty()) return lacks("why", "the remark itself");
  if (act.kind == ActKind::leave && act.policy.empty()) return lacks("policy", "what may the program do meanwhile");
  if (act.kind == ActKind::sign && act.word.empty()) return lacks("word", "pass, pass_with_remarks, incomplete or fail");
  return std::nullopt;
}

}  // namespace

std::string_view to_word(ActKind kind) { return words[static_cast<std::size_t>(kind)]; }

std::string to_json_text(const Act& act) {
  nlohmann::ordered_json json;
  json["who"] = act.who;
  if (!act.why.empty()) json["why"] = act.why;
  if (act.alarm != 0) json["alarm"] = act.alarm;
  if (act.minutes != 0.0) json["minutes"] = act.minutes;
  if (!act.points.empty()) json["points"] = act.points;
  if (!act.control.empty()) json["control"] = act.control;
  if (act.before) json["before"] = *act.before;
  if (act.after) json["after"] = *act.after;
  if (!act.bench.empty()) json["bench"] = act.bench;
  if (!act.word.empty()) json["word"] = act.word;
  if (!act.policy.empty()) json["policy"] = act.policy;
  return json.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
}

Result<Act> act_from_json(std::string_view kind, const std::string& text) {
  const auto known = kind_of(kind);
  if (!known) return fail(Fault::usage, "`" + std::string(kind) + "` is nothing that can be done to a run", "the acts are listed in daemon/http/API.md");
  constexpr double figure_max = 1e12;
  Fields fields(text);
  Act act;
  act.kind = *known;
  fields.text("who", act.who);
  fields.text("why", act.why);
  if (is_of_an_alarm(act.kind)) act.alarm = fields.whole("alarm").value_or(0);
  if (act.kind == ActKind::shelve) act.minutes = fields.number("minutes", 0.0, minutes_of(shelf_max)).value_or(0.0);
  if (act.kind == ActKind::touch || act.kind == ActKind::replace_part) {
    fields.texts("points", act.points);
    fields.text("control", act.control);
    act.before = fields.number("before", -figure_max, figure_max);
    act.after = fields.number("after", -figure_max, figure_max);
  }
  if (act.kind == ActKind::move) fields.text("bench", act.bench);
  if (act.kind == ActKind::sign) fields.word("word", act.word, {"pass", "pass_with_remarks", "incomplete", "fail"});
  if (act.kind == ActKind::leave) fields.text("policy", act.policy);
  if (auto wrong = fields.done()) return tl::unexpected(*wrong);
  if (act.kind == ActKind::leave)
    if (auto policy = policy_from_json(act.policy); !policy) return tl::unexpected(policy.error());
  if (auto lacks = lacking(act)) return tl::unexpected(*lacks);
  return act;
}

}  // namespace steadyglow::soak
