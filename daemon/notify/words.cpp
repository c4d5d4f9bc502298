#include "notify/words.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <set>
#include <utility>

namespace steadyglow::notify {
namespace {

using alarm::Cause;
using alarm::Fact;
using alarm::Incident;
using alarm::Priority;
using Json = nlohmann::ordered_json;

constexpr std::size_t line_max = 78;
constexpr std::size_t points_named_max = 6;

std::string off_words(Off off) {
  switch (off) {
    case Off::on: return "still ON";
    case Off::waiting: return "ordered off, NOT PROVEN YET";
    case Off::proven: return "OFF, proven";
    case Off::failed: return "ORDERED OFF AND NOT OFF";
    case Off::unprovable: return "ordered off; nothing can prove it";
  }
  return {};
}

/// Breaks at blanks; RFC 5322 2.1.1 recommends 78 characters.
std::string wrapped(const std::string& text) {
  std::string out;
  std::size_t column = 0;
  std::size_t begin = 0;
  while (begin < text.size()) {
    const std::size_t end = std::min(text.find_first_of(" \r\n", begin), text.size());
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

std::string joined(const std::vector<std::string>& parts, const char* between) {
  std::string text;
  for (const std::string& part : parts) text += (text.empty() ? "" : between) + part;
  return text;
}

std::string sentence(const std::string& text) { return text.empty() || text.back() == '.' ? text : text + '.'; }

std::string cause_words(const Incident& incident) {
  if (incident.cause == Cause::bus) return "bus " + incident.cause_name;
  if (incident.cause == Cause::mains) return "mains of " + incident.bench;
  return {};
}

/// Off and loud, but whether anything burns is not known: only a look tells.
bool is_fire_unknown(const Incident& incident, const Situation& now) {
  const bool is_all_off = !now.units.empty() && std::none_of(now.units.begin(), now.units.end(), [](const UnitSituation& unit) { return unit.off == Off::on; });
  return is_all_off && incident.priority >= Priority::high && now.has_smoke_contact && !now.is_smoke;
}

std::string headline(const Incident& incident, const Situation& now) {
  if (is_burning(incident, now)) return incident.bench + ": SMOKE OR HEAT";
  if (now.units.empty()) return incident.leading().message;
  const std::string cause = cause_words(incident);
  const Off first = now.units.front().off;
  const bool is_same = std::all_of(now.units.begin(), now.units.end(), [&](const UnitSituation& unit) { return unit.off == first; });
  if (!cause.empty() && now.units.size() > 1 && is_same) return cause + ", " + std::to_string(now.units.size()) + " units: " + off_words(first);
  std::vector<std::string> parts;
  for (const UnitSituation& unit : now.units) parts.push_back(unit.title + ", " + unit.bench + ": " + off_words(unit.off));
  return (cause.empty() ? "" : cause + "; ") + joined(parts, "; ") + (is_fire_unknown(incident, now) ? "; its smoke contact cannot be read" : "");
}

std::string advice_words(Advice advice, bool is_fire, bool is_any_on) {
  if (is_fire) return "COME, and call the fire service first. Do not enter where there is smoke or heat, and do not go near it alone; switch the mains off from outside, if that is safe.";
  switch (advice) {
    case Advice::sleep:
      if (is_any_on) return "SLEEP. It can wait for the morning.";
      return "SLEEP. Do not switch it on again from bed; it waits for somebody at the bench.";
    case Advice::look: return "LOOK at the page. Off is always allowed from there; on is not. If anything smells, smokes or hums at the bench: pull the plug, if that is safe.";
    case Advice::come: return "COME. Pull the plug or open the breaker, if it is safe to do so: nothing that this program has can break it. Then measure before you touch; it may still be charged.";
  }
  return {};
}

std::string before_words(Purpose purpose) {
  switch (purpose) {
    case Purpose::repeat: return "again: ";
    case Purpose::over: return "over: ";
    case Purpose::changed: return "now: ";
    default: return {};
  }
}

/// What moved: the alarm that says most; the others by their number.
std::string moved_words(const Incident& incident, const Situation& now) {
  std::vector<const Fact*> facts;
  for (const Fact& fact : incident.facts)
    if (fact.kind != "outlet" || now.units.empty()) facts.push_back(&fact);
  if (facts.empty()) facts.push_back(&incident.leading());
  std::stable_sort(facts.begin(), facts.end(), [](const auto* a, const auto* b) { return std::pair(a->is_condition_true, a->priority) > std::pair(b->is_condition_true, b->priority); });
  std::string text = wrapped("What: " + sentence(facts.front()->message));
  const std::size_t more = facts.size() - 1;
  if (more > 0) text += wrapped("And " + std::to_string(more) + (more == 1 ? " more alarm" : " more alarms") + " of the same cause.");
  if (facts.front()->point.empty() || now.units.size() != 1) return text;
  std::vector<std::string> others;
  for (const Fact* fact : facts)
    if (!fact->point.empty() && fact->point != facts.front()->point && std::find(others.begin(), others.end(), fact->point) == others.end()) others.push_back(fact->point);
  if (others.empty()) return text + wrapped("Alone: no other point of it has an alarm.");
  const std::size_t unnamed = others.size() - std::min(others.size(), points_named_max);
  others.resize(others.size() - unnamed);
  return text + wrapped("With it: " + joined(others, ", ") + (unnamed > 0 ? " and " + std::to_string(unnamed) + " more" : "") + ".");
}

std::string smoke_words(const Situation& now) {
  return wrapped(std::string("Smoke: ") + (!now.has_smoke_contact ? "no contact is connected" : !now.is_smoke ? "its contact cannot be read" : *now.is_smoke ? "YES" : "no") + ".");
}

std::string charge_words(const UnitSituation& unit) {
  if (!unit.bleed_text.empty()) return unit.bleed_text;
  return unit.off == Off::on ? "" : "not measured; measure before you touch";
}

bool is_any_on(const Situation& now) {
  return now.units.empty() || std::any_of(now.units.begin(), now.units.end(), [](const UnitSituation& unit) { return unit.off == Off::on; });
}

std::string text_of_one(const Message& message, const Told& told) {
  const Situation& now = told.now;
  std::string text = wrapped(now.clock + " " + sentence(before_words(message.purpose) + headline(*told.incident, now)));
  for (const UnitSituation& unit : now.units)
    if (unit.off != Off::on && !unit.off_text.empty()) text += wrapped("Off: " + sentence(unit.off_text));
  text += moved_words(*told.incident, now);
  for (const UnitSituation& unit : now.units) {
    const std::string of_it = now.units.size() > 1 ? unit.title + ": " : "";
    if (!unit.surroundings.empty()) text += wrapped("Around: " + of_it + sentence(unit.surroundings));
    text += wrapped("Meters: " + of_it + (unit.doubts.empty() ? "no doubt about any" : joined(unit.doubts, ", ")) + ".");
    if (const std::string charge = charge_words(unit); !charge.empty()) text += wrapped("Still charged: " + of_it + sentence(charge));
  }
  text += smoke_words(now);
  std::set<std::string> beside;
  for (const UnitSituation& unit : now.units)
    for (const std::string& neighbour : unit.neighbours)
      if (beside.insert(neighbour).second) text += wrapped("Beside it: " + sentence(neighbour));
  text += '\n' + wrapped(advice_words(message.advice, is_burning(*told.incident, now), is_any_on(now)));
  if (!told.link.empty()) text += "\nSeen, or switch off:\n" + told.link + '\n';
  return text;
}

std::string title_of_bench(const std::vector<Told>& told) {
  std::vector<std::pair<Off, std::size_t>> counts;
  std::size_t units = 0;
  for (const Told& one : told)
    for (const UnitSituation& unit : one.now.units) {
      ++units;
      const auto found = std::find_if(counts.begin(), counts.end(), [&](const auto& count) { return count.first == unit.off; });
      if (found == counts.end()) counts.emplace_back(unit.off, 1);
      else ++found->second;
    }
  std::string text = told.front().incident->bench + ", " + std::to_string(units) + " units at once: ";
  if (counts.size() == 1) return text + "all " + off_words(counts.front().first);
  std::vector<std::string> parts;
  for (const auto& [off, count] : counts) parts.push_back(std::to_string(count) + " " + off_words(off));
  return text + joined(parts, "; ");
}

/// Units of one bench: each with what it says most, what they share once.
std::string text_of_bench(const Message& message, const std::vector<Told>& told) {
  const Situation& now = told.front().now;
  std::string text = wrapped(now.clock + " " + sentence(before_words(message.purpose) + title_of_bench(told)));
  for (const Told& one : told) {
    std::string line = headline(*one.incident, one.now);
    for (const UnitSituation& unit : one.now.units)
      if (unit.off != Off::on && !unit.off_text.empty()) line += " (" + unit.off_text + ")";
    text += wrapped(sentence(line) + " " + sentence(one.incident->leading().message));
  }
  std::string doubts, charges;
  std::set<std::string> around;
  for (const Told& one : told)
    for (const UnitSituation& unit : one.now.units) {
      if (!unit.surroundings.empty() && around.insert(unit.surroundings).second) text += wrapped("Around: " + sentence(unit.surroundings));
      if (!unit.doubts.empty()) doubts += wrapped("Meters: " + unit.title + ": " + joined(unit.doubts, ", ") + ".");
      if (const std::string charge = charge_words(unit); !charge.empty()) charges += wrapped("Still charged: " + unit.title + ": " + sentence(charge));
    }
  text += (doubts.empty() ? wrapped("Meters: no doubt about any.") : doubts) + charges + smoke_words(now);
  const bool is_fire = std::any_of(told.begin(), told.end(), [](const Told& one) { return is_burning(*one.incident, one.now); });
  const bool is_on = std::any_of(told.begin(), told.end(), [](const Told& one) { return is_any_on(one.now); });
  text += '\n' + wrapped(advice_words(message.advice, is_fire, is_on));
  bool is_first = true;
  for (const Told& one : told) {
    if (one.link.empty()) continue;
    text += (is_first ? "\nSeen, or switch off:\n" : "") + headline(*one.incident, one.now) + '\n' + one.link + '\n';
    is_first = false;
  }
  return text;
}

Json json_of(const Told& told) {
  const Incident& incident = *told.incident;
  Json json;
  json["incident"] = incident.id;
  json["cause"] = alarm::to_word(incident.cause);
  json["cause_name"] = incident.cause_name;
  json["bench"] = incident.bench;
  json["priority"] = alarm::to_word(incident.priority);
  json["is_standing"] = incident.is_standing;
  json["is_smoke"] = told.now.is_smoke ? Json(*told.now.is_smoke) : Json(nullptr);
  json["alarms"] = Json::array();
  for (const Fact& fact : incident.facts)
    json["alarms"].push_back({{"id", fact.id}, {"unit", fact.unit}, {"kind", fact.kind}, {"point", fact.point}, {"priority", alarm::to_word(fact.priority)}, {"state", alarm::to_word(fact.state)}, {"message", fact.message}});
  json["units"] = Json::array();
  for (const UnitSituation& unit : told.now.units)
    json["units"].push_back({{"name", unit.name}, {"title", unit.title}, {"off", off_words(unit.off)}, {"off_text", unit.off_text}, {"bleed_text", unit.bleed_text}, {"surroundings", unit.surroundings}, {"doubts", unit.doubts}, {"neighbours", unit.neighbours}});
  return json;
}

}  // namespace

bool is_burning(const Incident& incident, const Situation& now) {
  return now.is_smoke.value_or(false) || std::any_of(incident.facts.begin(), incident.facts.end(), [](const Fact& fact) { return fact.kind == "smoke" && fact.is_condition_true; });
}

bool awaits_proof(const Situation& now) {
  return std::any_of(now.units.begin(), now.units.end(), [](const UnitSituation& unit) { return unit.off == Off::waiting || unit.off == Off::failed; });
}

Advice advice_of(const Incident& incident, const Situation& now) {
  const auto is_any = [&](Off off) { return std::any_of(now.units.begin(), now.units.end(), [&](const UnitSituation& unit) { return unit.off == off; }); };
  if (is_burning(incident, now) || is_any(Off::failed)) return Advice::come;
  const bool is_contactor = std::any_of(incident.facts.begin(), incident.facts.end(), [](const Fact& fact) { return fact.kind == "contactor" && fact.is_condition_true; });
  if (is_contactor) return Advice::come;
  if (is_any(Off::waiting) || is_any(Off::unprovable)) return Advice::look;
  const bool is_loud = incident.priority >= Priority::high;
  const bool is_all_off = !now.units.empty() && !is_any(Off::on);
  if (is_all_off) return is_fire_unknown(incident, now) ? Advice::look : Advice::sleep;
  return is_loud ? Advice::look : Advice::sleep;
}

std::string title_of(const Incident& incident, const Situation& now) { return headline(incident, now); }

void write_words(Message& message, const std::vector<Told>& told) {
  message.advice = Advice::sleep;
  for (const Told& one : told) message.advice = std::max(message.advice, advice_of(*one.incident, one.now));
  message.utc = told.front().now.utc;
  const std::string head = told.size() == 1 ? headline(*told.front().incident, told.front().now) : title_of_bench(told);
  message.subject = std::string(to_word(message.advice)) + ": " + before_words(message.purpose) + head;
  message.text = told.size() == 1 ? text_of_one(message, told.front()) : text_of_bench(message, told);
  Json json = json_of(told.front());
  for (std::size_t i = 1; i < told.size(); ++i) json["others"].push_back(json_of(told[i]));
  message.facts = json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

void write_words(Message& message, const Incident& incident, const Situation& now) {
  message.priority = incident.priority;
  write_words(message, std::vector<Told>{{&incident, now, message.link}});
}

}  // namespace steadyglow::notify
