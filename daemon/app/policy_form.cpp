#include "app/policy_form.hpp"

#include <fmt/format.h>

#include <cmath>

namespace steadyglow::app {
namespace {

constexpr double ms_per_minute = 60000.0;

}  // namespace

Result<soak::Policy> read_policy(const nlohmann::json& json, const std::string& who, Timestamp now) {
  soak::Policy policy;
  policy.set_by = who;
  if (json.is_null()) return policy;
  const auto wrong = [](const std::string& what) { return fail(Fault::usage, what, "the fields of a policy are listed in daemon/http/API.md"); };
  if (!json.is_object()) return wrong("`policy` is no object");
  for (const auto& [name, value] : json.items()) {
    const bool is_flag = name == "is_unattended" || name == "is_cut_when_stuck" || name == "wakes_for_forecast";
    const bool is_word = name == "after_mains" || name == "on_forecast";
    if (name == "person_back_in_minutes") {
      if (!value.is_number()) return wrong("`person_back_in_minutes` is no number");
      const double minutes = value.get<double>();
      if (!std::isfinite(minutes) || minutes <= 0.0 || minutes > person_back_minutes_max) return wrong(fmt::format("`person_back_in_minutes` must be above 0 and at most {}", person_back_minutes_max));
      policy.person_back_at = now + Duration{std::llround(minutes * ms_per_minute)};
    } else if (is_flag) {
      if (!value.is_boolean()) return wrong("`" + name + "` must be true or false");
      (name == "is_unattended" ? policy.is_unattended : name == "is_cut_when_stuck" ? policy.is_cut_when_stuck : policy.wakes_for_forecast) = value.get<bool>();
    } else if (is_word) {
      const std::string word = value.is_string() ? value.get<std::string>() : "";
      if (name == "after_mains" && word == "staged") policy.after_mains = soak::AfterMains::staged;
      else if (name == "after_mains" && word == "stay_off") policy.after_mains = soak::AfterMains::stay_off;
      else if (name == "on_forecast" && word == "cut") policy.on_forecast = soak::OnForecast::cut;
      else if (name == "on_forecast" && word == "tell") policy.on_forecast = soak::OnForecast::tell;
      else return wrong(fmt::format("`{}` must be {}", name, name == "after_mains" ? "stay_off or staged" : "tell or cut"));
    } else {
      return wrong("unknown field `" + name + "` of the policy");
    }
  }
  return policy;
}

}  // namespace steadyglow::app
