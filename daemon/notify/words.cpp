#include "notify/words.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>

namespace steadyglow::notify {
namespace {

using alarm::Cause;
using alarm::Incident;
using alarm::Priority;

constexpr std::size_t line_max = 78;
constexpr std::size_t sentences_max = 1;

std::string off_words(const UnitSituation& unit) {
  switch (unit.off) {
    case Off::on: return "still ON";
    case Off::waiting: return "ordered off, NOT PROVEN YET";
    case Off::proven: return "OFF, proven";
    case Off::failed: return "ORDERED OFF AND NOT OFF";
    case Off::unprovable: return "ordered off; nothing can prove it";
  }
  return {};
}

bool is_smoke(const Incident& incident, const Situation& now) {
  return now.is_smoke.value_or(false) || std::any_of(incident.facts.begin(), incident.facts.end(), [](const alarm::Fact& f) { return f.kind == "smoke" && f.is_condition_true; });
}

/// Breaks at blanks; RFC 5322 2.1.1 recommends 78 characters.
std::string wrapped(const std::string& text) {
  std::string out;
  std::size_t column = 0;
  std::size_t begin = 0;
  while (begin < text.size()) {
    const std::size_t end = std::min(text.find(' ', begin), text.size());
    const std::size_t size = end - begin;
    if (column > 0 && column + 1 + size > line_max) {
      out += '\n';
      column = 0;
    } else if (column > 0) {
      out += ' ';
      ++column;
    }
    out.append(text, begin, size);
    column += size;
    begin = end + 1;
  }
  return out + '\n';
}

std::string headline(const Incident& incident, const Situation& now) {
  if (is_smoke(incident, now)) return incident.bench + ": SMOKE OR HEAT";
  if (now.units.empty()) return incident.leading().message;
  std::string text;
  for (const UnitSituation& unit : now.units) text += (text.empty() ? "" : "; ") + unit.title + ", " + unit.bench + ": " + off_words(unit);
  return text;
}

std::string advice_words(Advice advice, const Incident& incident, const Situation& now) {
  if (is_smoke(incident, now)) return "COME, and call the fire service first. Do not go in alone; do not open the door of a burning room.";
  switch (advice) {
    case Advice::sleep: return "SLEEP. Do not switch it on again from here; it waits for somebody at the bench.";
    case Advice::look: return "LOOK at the page. If anything smells, smokes or hums there: pull the plug if that is safe.";
    case Advice::come: return "COME. Pull the plug or open the breaker, if it is safe to do so; nothing that this program has can break it.";
  }
  return {};
}

}  // namespace

bool awaits_proof(const Situation& now) {
  return std::any_of(now.units.begin(), now.units.end(), [](const UnitSituation& unit) { return unit.off == Off::waiting || unit.off == Off::failed; });
}

Advice advice_of(const Incident& incident, const Situation& now) {
  const auto is_any = [&](Off off) { return std::any_of(now.units.begin(), now.units.end(), [&](const UnitSituation& unit) { return unit.off == off; }); };
  if (is_smoke(incident, now) || is_any(Off::failed)) return Advice::come;
  const bool is_contactor = std::any_of(incident.facts.begin(), incident.facts.end(), [](const alarm::Fact& f) { return f.kind == "contactor" && f.is_condition_true; });
  if (is_contactor) return Advice::come;
  if (is_any(Off::waiting) || is_any(Off::unprovable)) return Advice::look;
  const bool is_all_off = !now.units.empty() && std::all_of(now.units.begin(), now.units.end(), [](const UnitSituation& unit) { return unit.off == Off::proven; });
  if (is_all_off) return Advice::sleep;
  return incident.priority >= Priority::high ? Advice::look : Advice::sleep;
}

std::string title_of(const Incident& incident, const Situation& now) { return headline(incident, now); }

void write_words(Message& message, const Incident& incident, const Situation& now) {
  message.priority = incident.priority;
  message.advice = advice_of(incident, now);
  message.utc = now.utc;
  const std::string head = headline(incident, now);
  const std::string before = message.purpose == Purpose::repeat ? "again: " : message.purpose == Purpose::over ? "over: " : message.purpose == Purpose::changed ? "now: " : "";
  message.subject = std::string(to_word(message.advice)) + ": " + before + head;

  std::string text = wrapped(now.clock + " " + head + ".");
  for (const UnitSituation& unit : now.units)
    if (unit.off != Off::on && !unit.off_text.empty()) text += wrapped("Off: " + unit.off_text + ".");
  // What moved: the alarm that says most, then the others, each once.
  std::vector<const alarm::Fact*> facts;
  for (const alarm::Fact& fact : incident.facts)
    if (fact.kind != "outlet" || now.units.empty()) facts.push_back(&fact);
  std::stable_sort(facts.begin(), facts.end(), [](const auto* a, const auto* b) { return std::pair(a->is_condition_true, a->priority) > std::pair(b->is_condition_true, b->priority); });
  std::size_t told = 0;
  for (const alarm::Fact* fact : facts) {
    if (told == sentences_max) break;
    text += wrapped(std::string(told == 0 ? "What: " : "Also: ") + fact->message + ".");
    ++told;
  }
  if (facts.size() > told) text += wrapped("And " + std::to_string(facts.size() - told) + " more alarms of the same cause.");
  for (const UnitSituation& unit : now.units) {
    if (!unit.surroundings.empty()) text += wrapped("Around: " + unit.surroundings + ".");
    std::string doubts;
    for (const std::string& doubt : unit.doubts) doubts += (doubts.empty() ? "" : ", ") + doubt;
    text += wrapped("Meters: " + (doubts.empty() ? "no doubt about any" : doubts) + ".");
    if (!unit.bleed_text.empty()) text += wrapped("Still charged: " + unit.bleed_text + ".");
  }
  text += wrapped(std::string("Smoke: ") + (!now.has_smoke_contact ? "no contact is connected" : !now.is_smoke ? "its contact cannot be read" : *now.is_smoke ? "YES" : "no") + ".");
  for (const UnitSituation& unit : now.units)
    for (const std::string& neighbour : unit.neighbours) text += wrapped("Beside it: " + neighbour + ".");
  text += "\n" + wrapped(advice_words(message.advice, incident, now));
  if (!message.link.empty()) text += "\nSeen, or switch off: " + message.link + "\n";
  message.text = std::move(text);

  nlohmann::ordered_json json;
  json["incident"] = incident.id;
  json["cause"] = alarm::to_word(incident.cause);
  json["cause_name"] = incident.cause_name;
  json["bench"] = incident.bench;
  json["priority"] = alarm::to_word(incident.priority);
  json["is_standing"] = incident.is_standing;
  json["alarms"] = nlohmann::ordered_json::array();
  for (const alarm::Fact& fact : incident.facts)
    json["alarms"].push_back({{"id", fact.id}, {"unit", fact.unit}, {"kind", fact.kind}, {"point", fact.point}, {"priority", alarm::to_word(fact.priority)}, {"state", alarm::to_word(fact.state)}, {"message", fact.message}});
  json["units"] = nlohmann::ordered_json::array();
  for (const UnitSituation& unit : now.units)
    json["units"].push_back({{"name", unit.name}, {"title", unit.title}, {"off", off_words(unit)}, {"off_text", unit.off_text}, {"bleed_text", unit.bleed_text}});
  message.facts = json.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
}

}  // namespace steadyglow::notify
