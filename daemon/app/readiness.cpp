#include "app/readiness.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "app/bench_clock.hpp"
#include "app/cautions.hpp"
#include "app/point_chain.hpp"

namespace steadyglow::app {
namespace {

constexpr std::int64_t ms_per_hour = 3'600'000;
constexpr std::int64_t ms_per_day = 24 * ms_per_hour;

/// Collects the items: a line is green unless something is said against it.
class List {
 public:
  ReadyItem& add(std::string key, std::string title, std::string action) {
    items.push_back({std::move(key), std::move(title), Answer::yes, {}, std::move(action)});
    return items.back();
  }
  std::vector<ReadyItem> items;
};

void against(ReadyItem& item, std::string reason) {
  item.answer = Answer::no;
  item.reason += (item.reason.empty() ? "" : "; ") + std::move(reason);
}

void ask_for_the_safety_test(List& list, const UnitSettings& unit, const Facts& facts, const ReadySituation& now) {
  ReadyItem& item = list.add("safety_test", "Safety test after the repair is entered", "measure earth continuity, insulation and leakage, and enter it: steadyglow fact " + unit.name + " safety_test \"...\"");
  const UnitFact* fact = facts.unit(unit.name, unit.serial, "safety_test");
  if (fact == nullptr) return against(item, "none is entered for this serial number");
  if (now.utc_ms - fact->utc_ms > safety_test_days_max * ms_per_day) return against(item, fmt::format("the last one is older than {} days", safety_test_days_max));
  item.reason = fmt::format("{}, by {}", fact->text, fact->who);
}

void ask_for_the_points(List& list, const ReadySituation& now) {
  ReadyItem& item = list.add("points_alive", "Every protective point is alive", "look at its clip and its meter");
  std::size_t alive = 0;
  std::vector<std::string> dead, dead_others;
  for (const auto& point : now.points) {
    if (point.is_protective && point.is_good) ++alive;
    if (!point.is_good) (point.is_protective ? dead : dead_others).push_back(fmt::format("{} ({})", point.name, point.why));
  }
  if (!dead.empty()) return against(item, fmt::format("{}", fmt::join(dead, ", ")));
  if (alive == 0) return against(item, "the profile has no protective point: nothing would be seen in time");
  item.reason = fmt::format("{} protective points read", alive);
  if (!now.clips_touched.empty()) item.reason += "; " + now.clips_touched;
  if (!dead_others.empty()) item.reason += fmt::format("; informative ones that do not: {}", fmt::join(dead_others, ", "));
}

void ask_for_the_limits(List& list, const UnitSettings& unit, const Facts& facts, const ReadySituation& now) {
  ReadyItem& item = list.add("limits", "Limits are set, and somebody has said where they come from", "compare them with the service sheet, then: steadyglow fact " + unit.name + " limits_reviewed \"service sheet p. 12\"");
  for (const auto& point : now.points)
    if (point.is_protective && !point.has_limit) against(item, point.name + " has no limit");
  // Where such a point is protective the configuration is refused before anything runs.
  bool has_dead_trip = false;
  for (const PointBinding& binding : unit.points) {
    const profile::Point& point = unit.profile.point(binding.point);
    for (const std::string& line : limits_out_of_reach(point, binding)) {
      against(item, fmt::format("{} never trips: {}", point.name, line));
      has_dead_trip = true;
    }
  }
  if (has_dead_trip) item.action = "set the trip limit inside the range of its channel, or fit a divider or channel that reaches further; then " + item.action;
  const UnitFact* fact = facts.unit(unit.name, unit.serial, "limits_reviewed");
  if (fact == nullptr) return against(item, "nobody has reviewed them for this unit");
  if (fact->of != now.profile_checksum) return against(item, "the profile was changed after " + fact->who + " reviewed it");
  if (item.answer == Answer::yes) item.reason = fmt::format("{}, by {}", fact->text, fact->who);
}

void ask_for_the_switches(List& list, const UnitSettings& unit, const BenchSettings* bench, const Facts& facts, const ReadySituation& now) {
  ReadyItem& item = list.add("switches", "Unit relay, bench contactor and hardware watchdog are sound", "have a defective contact replaced by a qualified person, then say so and rehearse");
  if (!unit.outlet) against(item, "the unit has no outlet that can be opened");
  if (now.relay.is_defective) against(item, "the unit's relay is marked defective: " + now.relay.why);
  if (!now.has_contactor) against(item, "the bench has no contactor: one welded relay and nothing breaks");
  else if (now.contactor.is_defective) against(item, "the contactor is marked defective: " + now.contactor.why);
  else if (!now.is_contactor_closed) against(item, "the contactor is open");
  if (!now.has_watchdog) against(item, "the bench has no hardware watchdog: if this program hangs, nothing opens");
  else if (now.watchdog_trouble) against(item, "the watchdog is not fed: " + *now.watchdog_trouble);

  ReadyItem& rehearsed = list.add("rehearsal", "The trip was rehearsed on this bench", "steadyglow rehearse " + unit.name + ", standing beside it");
  const RehearsalFact* fact = facts.rehearsal(bench ? bench->name : unit.bench, unit.name);
  if (fact == nullptr) return against(rehearsed, "never with this unit's relay");
  if (!fact->is_passed) return against(rehearsed, "the last one failed: " + fact->text);
  if (now.utc_ms - fact->utc_ms > rehearsal_days_max * ms_per_day) return against(rehearsed, fmt::format("the last one is older than {} days", rehearsal_days_max));
  if (now.relay.is_unproven || now.contactor.is_unproven) return against(rehearsed, "a contact was repaired since the last one");
  rehearsed.reason = fmt::format("{}, by {}", utc_label(fact->utc_ms), fact->who);
}

void ask_for_the_telephone(List& list, const BenchSettings* bench, const Facts& facts, const ReadySituation& now) {
  ReadyItem& person = list.add("person_on_call", "Somebody is on call, by name", "name a [[notify.person]], and person_on_call of the bench");
  const std::string on_call = bench && !bench->person_on_call.empty() ? bench->person_on_call : "";
  if (on_call.empty()) against(person, "the bench names nobody");
  else if (std::find(now.persons.begin(), now.persons.end(), on_call) == now.persons.end()) against(person, on_call + " has no route: no message can be sent");
  else person.reason = on_call;

  ReadyItem& test = list.add("notify_test", fmt::format("A test message was accepted within {} h", notify_test_hours_max), "steadyglow notify test, and see that it comes");
  if (now.routes_of_first.empty()) return against(test, "there is no route");
  for (const std::string& route : now.routes_of_first) {
    const auto found = facts.notify_tests().find(route);
    if (found == facts.notify_tests().end() || !found->second.is_delivered) continue;
    if (now.utc_ms - found->second.utc_ms > notify_test_hours_max * ms_per_hour) continue;
    test.reason = fmt::format("{} took it at {}", route, utc_label(found->second.utc_ms));
    return;
  }
  against(test, "no route of the first person has taken one");
}

void ask_for_the_branch(List& list, const BenchSettings* bench, const ReadySituation& now) {
  ReadyItem& item = list.add("branch_load", "The branch circuit carries it for hours", "run it attended until its current is known; move a unit to another branch. Local electrical code decides");
  if (bench == nullptr || !bench->breaker_amperes) return against(item, "breaker_amperes of the bench is not set");
  if (!now.unit_amperes) return against(item, "the unit's current is not known yet");
  const double all = now.bench_amperes + *now.unit_amperes;
  const double allowed = *bench->breaker_amperes * bench->breaker_share;
  item.reason = fmt::format("{:.2f} A of {:.1f} A ({:.0f} % of a {:.0f} A breaker)", all, allowed, 100.0 * bench->breaker_share, *bench->breaker_amperes);
  if (all > allowed) item.answer = Answer::no;
}

void ask_for_the_fire_watch(List& list, const ReadySituation& now) {
  ReadyItem& item = list.add("smoke", "A smoke or heat contact watches the bench", "wire its normally closed contact to an input, and name it under [bench.smoke]; it must also ring without this program");
  if (!now.has_smoke_contact) return against(item, "none is connected");
  if (!now.is_smoke) return against(item, "its contact cannot be read");
  if (*now.is_smoke) return against(item, "it is open: smoke, heat, or a broken wire");
  item.reason = "its loop is closed";
}

void ask_for_the_person(List& list, const UnitSettings& unit, const Facts& facts, const std::string& who, const ReadySituation& now) {
  ReadyItem& first = list.add("attended_first", "It has run attended before", "stay near it for an hour first, and touch, smell and listen");
  if (!now.was_attended_for_an_hour) against(first, unit.title + " has not run for an hour with somebody near it since it was last cut");

  ReadyItem& item = list.add("cautions", "The cautions are accepted by name", "read them, then: steadyglow cautions --who NAME --accept");
  const CautionsFact* fact = facts.cautions(who);
  if (who.empty()) return against(item, "say who leaves it");
  if (fact == nullptr) return against(item, who + " has not accepted them");
  if (now.utc_ms - fact->utc_ms > cautions_days_max * ms_per_day) return against(item, fmt::format("{} accepted them more than {} days ago", who, cautions_days_max));
  for (const Caution& caution : cautions())
    if (std::find(fact->accepted.begin(), fact->accepted.end(), caution.key) == fact->accepted.end()) against(item, fmt::format("`{}` is not accepted", caution.key));
  if (item.answer == Answer::yes) item.reason = who;
}

}  // namespace

std::string_view to_word(Answer answer) {
  switch (answer) {
    case Answer::yes: return "yes";
    case Answer::no: return "no";
    case Answer::not_needed: break;
  }
  return "not_needed";
}

std::vector<ReadyItem> ready_to_leave(const UnitSettings& unit, const BenchSettings* bench, const Facts& facts, const std::string& who, const ReadySituation& now) {
  List list;
  list.items.reserve(16);  // add() hands out references
  ask_for_the_safety_test(list, unit, facts, now);
  ask_for_the_points(list, now);
  ask_for_the_limits(list, unit, facts, now);
  ask_for_the_switches(list, unit, bench, facts, now);
  ask_for_the_branch(list, bench, now);
  ask_for_the_fire_watch(list, now);
  ask_for_the_telephone(list, bench, facts, now);
  ask_for_the_person(list, unit, facts, who, now);
  return std::move(list.items);
}

bool is_ready(const std::vector<ReadyItem>& items) {
  return std::none_of(items.begin(), items.end(), [](const ReadyItem& item) { return item.answer == Answer::no; });
}

std::string reasons_of(const std::vector<ReadyItem>& items) {
  std::string text;
  for (const ReadyItem& item : items)
    if (item.answer == Answer::no) text += fmt::format("{}{}: {}", text.empty() ? "" : "; ", item.key, item.reason);
  return text;
}

}  // namespace steadyglow::app
