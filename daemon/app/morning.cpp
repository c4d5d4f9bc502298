#include "app/morning.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "soak/words.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

std::string clock_text(std::int64_t utc_ms) {
  const std::time_t seconds = static_cast<std::time_t>(utc_ms / 1000);
  std::tm local{};
  localtime_r(&seconds, &local);
  char text[8];
  return {text, std::strftime(text, sizeof text, "%H:%M", &local)};
}

std::string headline_of(const soak::Engine& engine) {
  const std::string hours = fmt::format("{:.1f} h counted of {:.1f} h", hours_of(engine.stages().counted()), hours_of(engine.stages().plan().counted_planned()));
  const std::string verdict = engine.verdict() ? fmt::format("; proposed: {}", soak::to_word(engine.verdict()->word)) : "";
  switch (engine.power()) {
    case soak::Power::on: {
      const std::string why = engine.why_not_counting();
      return fmt::format("running, {}{}{}", hours, why.empty() || engine.verdict() ? "" : " (not counting: " + why + ")", verdict);
    }
    case soak::Power::tripped: return fmt::format("CUT; {}; {}{}", engine.off_text(), hours, verdict);
    case soak::Power::off_by_plan: return fmt::format("off by plan; {}; {}{}", engine.off_text(), hours, verdict);
    case soak::Power::off_by_person: return fmt::format("switched off by a person; {}; {}{}", engine.off_text(), hours, verdict);
    case soak::Power::paused: return fmt::format("paused; {}", hours);
    case soak::Power::lost: return fmt::format("lost its supply and waits; {}", hours);
    case soak::Power::bench_open: return fmt::format("stopped with its bench, through no fault of its own; {}", hours);
  }
  return hours;
}

Json gaps_of(const UnitSession& session, std::int64_t from_utc_ms) {
  Json gaps = Json::array();
  for (const auto& gap : session.engine()->interruptions()) {
    const std::int64_t from = utc_from_label(session.utc_of(gap.from));
    const Timestamp end = gap.to.value_or(session.run_now());
    if (utc_from_label(session.utc_of(end)) < from_utc_ms) continue;
    gaps.push_back(fmt::format("{} {} for {}{}: {}", clock_text(from), gap.is_planned ? "off" : "interrupted", soak::span_text(end - gap.from), gap.to ? "" : " so far", gap.why));
  }
  return gaps;
}

Json slopes_of(const UnitSession& session) {
  Json slopes = Json::array();
  const soak::Engine& engine = *session.engine();
  if (engine.power() != soak::Power::on) return slopes;  // of what is off nothing goes anywhere
  for (const soak::PointWatch& watch : engine.points()) {
    const bool is_weather = watch.point().is_mains() || watch.point().role == profile::Role::ambient || watch.point().quantity == Quantity::frequency;
    if (!watch.trend || is_weather) continue;
    const auto& fit = watch.trend->fit;
    const bool is_significant = fit.slope_low > 0.0 || fit.slope_high < 0.0;
    // What would not move by 2 % (a temperature: by 3 K) in another night is no news.
    constexpr double night_hours = 12.0, news_share = 0.02, news_kelvin = 3.0;
    const double moves = std::fabs(fit.slope) * night_hours;
    const double level = std::fabs(watch.recent_raw_level(std::chrono::minutes{30}).value_or(0.0));
    if (!is_significant || moves < (watch.point().is_temperature() ? news_kelvin : news_share * level)) continue;
    const auto text = [&](double value) { return soak::figure(watch.point(), value); };
    slopes.push_back({{"point", watch.point().name}, {"text", fmt::format("{} per hour ({} to {})", text(fit.slope), text(fit.slope_low), text(fit.slope_high))}});
  }
  return slopes;
}

Json items_of(const UnitSession& session, const Facts& facts, std::int64_t from_utc_ms) {
  Json items = Json::array();
  const auto add = [&](const std::string& id, const std::string& text, std::string_view priority) {
    const TickFact* tick = facts.tick(id);
    items.push_back({{"id", id}, {"text", text}, {"priority", priority}, {"is_ticked", tick != nullptr}, {"ticked_by", tick ? tick->who : ""}});
  };
  // Where it was cut, the warnings before it are one line: they led there.
  const auto& alarms = session.engine()->book().alarms();
  const bool has_trip = std::any_of(alarms.begin(), alarms.end(), [](const soak::AlarmRecord& r) { return r.finding.severity == soak::Severity::trip; });
  std::size_t warnings = 0;
  for (const soak::AlarmRecord& record : alarms) {
    if (has_trip && record.finding.severity != soak::Severity::trip) {
      ++warnings;
      continue;
    }
    const std::int64_t raised = utc_from_label(session.utc_of(record.raised_at));
    if (record.alarm.state == alarm::State::normal && raised < from_utc_ms) continue;
    const std::string over = record.alarm.is_condition_true ? "" : " (over)";
    add(fmt::format("{}-{}", *session.run_id(), record.id), fmt::format("{} {}{}", clock_text(raised), record.finding.message, over), alarm::to_word(record.priority));
  }
  if (warnings > 0) add(fmt::format("{}-warnings", *session.run_id()), fmt::format("{} warnings before and after it", warnings), "low");
  const auto& verdict = session.engine()->verdict();
  if (verdict && !session.engine()->signature()) add(fmt::format("{}-verdict", *session.run_id()), fmt::format("proposed: {}; look at it and sign", soak::to_word(verdict->word)), "low");
  return items;
}

}  // namespace

nlohmann::ordered_json morning_of(const UnitSession& session, const Facts& facts, std::int64_t from_utc_ms) {
  const soak::Engine* engine = session.engine();
  if (engine == nullptr) return nullptr;
  Duration counted_before{};
  Json did = Json::array();
  for (const Did& one : session.did()) {
    const std::string utc = session.utc_of(one.at);
    if (utc_from_label(utc) >= from_utc_ms) did.push_back({{"utc", utc}, {"text", one.text}});
  }
  counted_before = session.counted_at(from_utc_ms);
  const auto counted = engine->stages().counted();
  return {{"name", session.settings().name},
          {"title", session.settings().title},
          {"headline", headline_of(*engine)},
          {"counted_s", seconds_of(counted)},
          {"since_counted_s", seconds_of(counted - counted_before)},
          {"planned_s", seconds_of(engine->stages().plan().counted_planned())},
          {"gaps", gaps_of(session, from_utc_ms)},
          {"slopes", slopes_of(session)},
          {"did", std::move(did)},
          {"items", items_of(session, facts, from_utc_ms)},
          {"verdict", engine->verdict() ? Json(soak::to_word(engine->verdict()->word)) : Json("")}};
}

}  // namespace steadyglow::app
