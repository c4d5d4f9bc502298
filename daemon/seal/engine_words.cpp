#include "seal/engine_words.hpp"

#include <algorithm>
#include <array>

#include "seal/bounded_json.hpp"
#include "soak/event_json.hpp"
#include "soak/finding_json.hpp"
#include "soak/verdict.hpp"

namespace steadyglow::seal {
namespace {

using Json = nlohmann::ordered_json;

/// As the daemon numbers alarms: those of a run follow those of the one before.
constexpr std::int64_t alarms_per_run = 10000;
constexpr std::array<std::string_view, 12> kinds_of_the_engine{"finding", "alarm", "order", "open_bench", "close", "switch_on_due", "bleed_down", "segment", "start_up", "stage", "verdict", "signature"};

struct Words {
  const profile::Profile& profile;
  const RunName& run;

  static EventLine line(Timestamp at, std::string_view kind, const Json& json) { return {0, at, std::string(kind), json.dump(-1, ' ', false, Json::error_handler_t::replace)}; }

  EventLine operator()(const soak::Finding& e) const { return line(e.at, "finding", soak::to_json(e, profile)); }
  EventLine operator()(const soak::OpenOutlet& e) const { return line(e.at, "order", {{"time_s", seconds_of(e.at)}, {"attempt", e.attempt}, {"is_trip", e.is_trip}, {"reason", e.reason}}); }
  EventLine operator()(const soak::StageChange& e) const { return line(e.at, "stage", {{"time_s", seconds_of(e.at)}, {"stage", e.stage}, {"text", e.text}}); }
  EventLine operator()(const soak::Verdict& e) const {
    return line(e.at, "verdict", {{"time_s", seconds_of(e.at)}, {"word", soak::to_word(e.word)}, {"is_proposed", true}, {"reasons", e.reasons}});
  }
  EventLine operator()(const soak::SegmentChange& e) const { return line(e.at, soak::kind_word(e), soak::to_json(e, profile)); }
  EventLine operator()(const soak::AlarmRecord& e) const {
    const auto seconds = [](const std::optional<Timestamp>& at) { return at ? Json(seconds_of(*at)) : Json(nullptr); };
    Json points = Json::array();
    for (const PointId point : e.finding.points) points.push_back(profile.point(point).name);
    return line(std::max(e.alarm.changed_at, e.raised_at), "alarm",
                {{"id", run.number * alarms_per_run + e.id},
                 {"unit", run.unit},
                 {"points", std::move(points)},
                 {"kind", soak::to_word(e.finding.kind)},
                 {"severity", soak::to_word(e.finding.severity)},
                 {"state", alarm::to_word(e.alarm.state)},
                 {"is_active", e.alarm.is_condition_true},
                 {"raised_s", seconds_of(e.raised_at)},
                 {"raised_utc", ""},
                 {"cleared_s", seconds(e.cleared_at)},
                 {"acknowledged_by", e.acknowledged_by},
                 {"message", e.finding.message},
                 {"priority", alarm::to_word(e.priority)},
                 {"cause", alarm::to_word(e.cause)},
                 {"shelved_until_s", seconds(e.shelved_until)},
                 {"changed_by", e.changed_by},
                 {"why", e.why}});
  }
  template <class Event>
  EventLine operator()(const Event& e) const {
    return line(e.at, soak::kind_word(e), soak::to_json(e));
  }
};

}  // namespace

EventLine stored_words(const soak::Event& event, const profile::Profile& profile, const RunName& run) { return std::visit(Words{profile, run}, event); }

bool is_of_the_engine(std::string_view kind) { return std::find(kinds_of_the_engine.begin(), kinds_of_the_engine.end(), kind) != kinds_of_the_engine.end(); }

std::string without_labels(std::string_view kind, const std::string& json) {
  auto parsed = bounded_json(json);
  if (!parsed) return json;
  if (kind == "alarm" && parsed->contains("raised_utc")) (*parsed)["raised_utc"] = "";
  return parsed->dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace steadyglow::seal
