#include "seal/derive.hpp"

#include <algorithm>

#include "core/decimal.hpp"
#include "profile/profile_toml.hpp"
#include "record/tell_run.hpp"
#include "seal/bounded_json.hpp"
#include "seal/engine_words.hpp"
#include "soak/verdict.hpp"

namespace steadyglow::seal {
namespace {

/// More differences than this are counted, not told.
constexpr std::size_t differences_told_max = 50;
/// How far ahead the place is looked for at which both sides say the same again.
constexpr std::size_t resync_max = 200;
/// As the daemon keeps it: readings are taken for this long after the verdict.
constexpr Duration cooling_recorded = std::chrono::minutes{30};

tl::unexpected<Error> unreadable(const Errors& errors, const char* what) {
  return fail(Fault::bad_data, std::string("run.sqlite: its ") + what + " cannot be read by this program: " + (errors.empty() ? "" : errors.front().text()));
}

struct Numbered {
  std::int64_t n = 0;  ///< line of events.jsonl
  EventLine event;
};

bool is_same(const EventLine& a, const EventLine& b) { return a.after_input == b.after_input && a.at == b.at && a.kind == b.kind && a.json == b.json; }

std::string moment(const EventLine& event) { return event.kind + " at " + to_decimal(seconds_of(event.at)) + " s"; }

/// Which fields differ, and how.
std::string fields_text(const EventLine& sealed, const EventLine& said) {
  std::string text;
  const auto add = [&](const std::string& name, const std::string& a, const std::string& b) {
    if (a == b) return;
    if (!text.empty()) text += "; ";
    text += name + " is " + a + ", the engine says " + b;
  };
  add("at_ms", std::to_string(ms_of(sealed.at)), std::to_string(ms_of(said.at)));
  add("after_input", std::to_string(sealed.after_input), std::to_string(said.after_input));
  const auto a = bounded_json(sealed.json);
  const auto b = bounded_json(said.json);
  if (!a || !b) return text;
  const auto dump = [](const nlohmann::ordered_json& one) { return one.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace); };
  for (const auto& [key, value] : a->items()) add(key, dump(value), b->contains(key) ? dump((*b)[key]) : "nothing");
  for (const auto& [key, value] : b->items())
    if (!a->contains(key)) add(key, "missing", dump(value));
  return text.empty() ? "its fields stand in another order" : text;
}

}  // namespace

Result<Derived> derive(RunFileReader& file, const std::vector<EventLine>& sealed, const std::function<void(const store::InputRow&)>& each_input) {
  const RunFace& face = file.face();
  Errors errors;
  const auto profile = profile::parse_profile(face.run.profile_text, "profile", errors);
  if (!profile) return unreadable(errors, "profile");
  const auto plan = profile::parse_plan(face.run.plan_text, "plan", errors);
  if (!plan) return unreadable(errors, "plan");
  const bool fits = std::equal(profile->points.begin(), profile->points.end(), face.points.begin(), face.points.end(), [](const profile::Point& point, const PointFace& kept) {
    return point.name == kept.name && to_word(point.quantity) == kept.quantity && point.uom.symbol == kept.uom;
  });
  if (!fits) return fail(Fault::bad_data, "run.sqlite: its points are not those of its profile");

  Derived derived;
  const RunName name{face.run.id, face.run.unit};
  const auto hear = [&](std::span<const soak::Event> events, std::int64_t after_input) {
    for (const soak::Event& event : events) {
      derived.events.push_back(stored_words(event, *profile, name));
      derived.events.back().after_input = after_input;
    }
  };
  auto told = record::tell_run(*profile, *plan,
                               [&](const std::function<void(const store::InputRow&)>& feed) {
                                 return file.for_each_input([&](const store::InputRow& input) {
                                   each_input(input);
                                   if (input.kind == "resume") derived.resumes.push_back(input.seq);
                                   feed(input);
                                 });
                               },
                               [&](const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine&) { hear(events, input.seq - 1); });
  if (!told) return tl::unexpected(told.error());
  // Time alone goes on after the last input: as far as the record heard of it, and until the cooling was recorded.
  Timestamp last = told->last_fed;
  // A log that was brought in ends with its last line.
  const bool is_imported = std::any_of(sealed.begin(), sealed.end(), [](const EventLine& event) { return event.kind == event_kind_imported; });
  if (told->engine->verdict() && !is_imported) last = std::max(last, told->engine->verdict()->at + cooling_recorded);
  for (const EventLine& event : sealed)
    if (event.after_input >= file.inputs() && is_of_the_engine(event.kind)) last = std::max(last, event.at);
  if (last > told->engine->now()) hear(told->engine->advance(last), file.inputs());
  derived.unread = std::move(told->unread);
  if (told->engine->verdict()) derived.verdict = soak::to_word(told->engine->verdict()->word);
  if (told->engine->signature()) {
    derived.signed_word = told->engine->signature()->word;
    derived.signed_by = told->engine->signature()->who;
  }
  return derived;
}

Compared compare(const std::vector<EventLine>& sealed_lines, const Derived& derived) {
  std::vector<Numbered> sealed;
  for (std::size_t i = 0; i < sealed_lines.size(); ++i) {
    if (!is_of_the_engine(sealed_lines[i].kind)) continue;
    sealed.push_back({static_cast<std::int64_t>(i + 1), sealed_lines[i]});
    sealed.back().event.json = without_labels(sealed.back().event.kind, sealed.back().event.json);
  }
  Compared compared;
  std::size_t count = 0;
  const auto differs = [&](const std::string& text) {
    if (++count <= differences_told_max) compared.differences.push_back(text);
  };
  const auto line = [](const Numbered& one) { return "events.jsonl:" + std::to_string(one.n) + ": " + moment(one.event); };
  const auto is_before_a_stop = [&](const EventLine& event) {
    return std::binary_search(derived.resumes.begin(), derived.resumes.end(), event.after_input + 1);
  };
  const auto is_extra = [&](const Numbered& one) {
    if (is_before_a_stop(one.event)) compared.remarks.push_back(line(one) + ": it was said just before the daemon stopped; the readings that made it were lost with it");
    else differs(line(one) + ": the engine does not say this of these readings");
  };
  const auto is_missing = [&](const EventLine& said) { differs("events.jsonl: missing: " + moment(said) + ", which the engine says of these readings: " + said.json); };

  std::size_t s = 0;
  std::size_t d = 0;
  while (s < sealed.size() && d < derived.events.size()) {
    if (is_same(sealed[s].event, derived.events[d])) {
      ++s;
      ++d;
      continue;
    }
    std::size_t skip = 0;
    bool is_sealed_behind = false;
    bool is_found = false;
    while (!is_found && ++skip <= resync_max) {
      if (s + skip < sealed.size() && is_same(sealed[s + skip].event, derived.events[d])) is_found = true;
      else if (d + skip < derived.events.size() && is_same(sealed[s].event, derived.events[d + skip])) is_found = is_sealed_behind = true;
      else if (s + skip < sealed.size() && d + skip < derived.events.size() && is_same(sealed[s + skip].event, derived.events[d + skip])) break;
    }
    if (!is_found) {
      if (sealed[s].event.kind == derived.events[d].kind && !is_before_a_stop(sealed[s].event)) {
        differs(line(sealed[s]) + ": " + fields_text(sealed[s].event, derived.events[d]));
        ++d;
      } else {
        is_extra(sealed[s]);
      }
      ++s;
    } else if (is_sealed_behind) {
      for (; skip > 0; --skip) is_missing(derived.events[d++]);
    } else {
      for (; skip > 0; --skip) is_extra(sealed[s++]);
    }
  }
  for (; s < sealed.size(); ++s) is_extra(sealed[s]);
  for (; d < derived.events.size(); ++d) is_missing(derived.events[d]);
  if (count > differences_told_max) compared.differences.push_back("and " + std::to_string(count - differences_told_max) + " more differences of events");
  return compared;
}

}  // namespace steadyglow::seal
