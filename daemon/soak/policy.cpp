#include "soak/policy.hpp"

#include <nlohmann/json.hpp>

#include "soak/fields.hpp"

namespace steadyglow::soak {

std::string to_json_text(const Policy& policy) {
  nlohmann::ordered_json json;
  json["set_by"] = policy.set_by;
  json["is_unattended"] = policy.is_unattended;
  if (policy.person_back_at) json["person_back_at_s"] = seconds_of(*policy.person_back_at);
  json["after_mains"] = policy.after_mains == AfterMains::staged ? "staged" : "stay_off";
  json["on_forecast"] = policy.on_forecast == OnForecast::cut ? "cut" : "tell";
  json["cut_at_share"] = policy.cut_at_share;
  json["is_cut_when_stuck"] = policy.is_cut_when_stuck;
  json["wakes_for_forecast"] = policy.wakes_for_forecast;
  return json.dump();
}

Result<Policy> policy_from_json(const std::string& text) {
  constexpr double time_max_s = 1e9;
  Fields fields(text);
  Policy policy;
  fields.text("set_by", policy.set_by);
  fields.flag("is_unattended", policy.is_unattended);
  if (const auto back = fields.number("person_back_at_s", 0.0, time_max_s)) policy.person_back_at = at_seconds(*back);
  std::string word;
  if (fields.word("after_mains", word, {"stay_off", "staged"})) policy.after_mains = word == "staged" ? AfterMains::staged : AfterMains::stay_off;
  if (fields.word("on_forecast", word, {"tell", "cut"})) policy.on_forecast = word == "cut" ? OnForecast::cut : OnForecast::tell;
  if (const auto share = fields.number("cut_at_share", 0.05, 1.0)) policy.cut_at_share = *share;
  fields.flag("is_cut_when_stuck", policy.is_cut_when_stuck);
  fields.flag("wakes_for_forecast", policy.wakes_for_forecast);
  if (auto wrong = fields.done()) return tl::unexpected(*wrong);
  return policy;
}

}  // namespace steadyglow::soak
