#include "record/run_figures.hpp"

#include <fmt/format.h>

#include <algorithm>

#include <nlohmann/json.hpp>

#include "analysis/uncertainty.hpp"
#include "profile/profile_toml.hpp"
#include "record/dates.hpp"
#include "record/listener.hpp"
#include "record/plain_words.hpp"
#include "record/point_figures.hpp"

namespace steadyglow::record {
namespace {

/// Parses what the run was started with; the first mistake is told.
template <class Parsed, class Parse>
Result<Parsed> read_text(const std::string& text, const std::string& name, const char* what, Parse parse) {
  Errors errors;
  auto parsed = parse(text, name, errors);
  if (parsed) return std::move(*parsed);
  return fail(Fault::bad_data, fmt::format("the {} that the run was started with cannot be read{}{}", what, errors.empty() ? "" : ": ", errors.empty() ? "" : errors.front().text()));
}

void read_events(std::span<const store::EventRow> events, RunFigures& figures) {
  for (const store::EventRow& event : events) {
    if (event.kind == event_kind_wiring) {
      auto wiring = wiring_from_json(event.json);
      if (wiring) figures.wiring = std::move(*wiring);
      else figures.doubts.push_back(wiring.error().message);
    }
    const auto json = nlohmann::json::parse(event.json, nullptr, false);
    if (event.kind == store::event_kind_imported) {
      const auto text = [&](const char* key) { return json.is_object() && json.contains(key) && json[key].is_string() ? json[key].get<std::string>() : std::string("somebody"); };
      figures.doubts.push_back(fmt::format("This run was brought in by {} from the file {}: the readings were not taken by this program, and nobody was guarded by it.", text("who"), text("file")));
    }
    if (event.kind != store::event_kind_not_stored) continue;
    const auto number = [&](const char* key) { return json.is_object() && json.contains(key) && json[key].is_number() ? json[key].get<double>() : 0.0; };
    figures.doubts.push_back(fmt::format("The disk failed: {:.0f} batches of readings between {} and {} into the run were not stored.", number("batches"),
                                         run_time_words(at_ms(static_cast<std::int64_t>(number("from_s") * 1000.0))), run_time_words(at_ms(static_cast<std::int64_t>(number("to_s") * 1000.0)))));
  }
}

}  // namespace

const PointFigures* RunFigures::find(std::string_view name) const {
  const auto found = std::find_if(points.begin(), points.end(), [&](const PointFigures& one) { return one.point.name == name; });
  return found == points.end() ? nullptr : &*found;
}

std::string RunFigures::utc(Timestamp at) const {
  const auto started = utc_from_text(run.started_utc);
  return started ? utc_text(*started + static_cast<std::int64_t>(static_cast<double>(ms_of(at)) / wiring.clock_rate)) : std::string{};
}

Result<RunFigures> figures_of(const store::RunRow& run, const Inputs& inputs, std::span<const store::EventRow> events) {
  auto profile = read_text<profile::Profile>(run.profile_text, run.profile_name, "profile", profile::parse_profile);
  if (!profile) return tl::unexpected(profile.error());
  auto plan = run.plan_text.empty() ? Result<profile::Plan>(profile::plan_without_file()) : read_text<profile::Plan>(run.plan_text, run.plan_name, "plan", profile::parse_plan);
  if (!plan) return tl::unexpected(plan.error());

  RunFigures figures;
  figures.run = run;
  figures.profile = std::move(*profile);
  figures.plan = std::move(*plan);
  read_events(events, figures);

  Listener listener(figures.profile, figures);
  const auto told = tell_run(figures.profile, figures.plan, inputs, [&](const auto& input, auto heard, const auto& engine) { listener.hear(input, heard, engine); });
  if (!told) return tl::unexpected(told.error());
  const soak::Engine& engine = *told->engine;
  figures.policy = engine.policy();
  figures.length = told->last_fed.time_since_epoch();
  figures.counted = engine.stages().counted();
  figures.planned = figures.plan.counted_planned();
  figures.is_over = engine.is_over();
  figures.is_tripped = engine.power() == soak::Power::tripped;
  figures.interruptions = engine.interruptions();
  figures.alarms.assign(engine.book().alarms().begin(), engine.book().alarms().end());
  figures.verdict = engine.verdict();
  figures.signature = engine.signature();
  for (const std::string& unread : told->unread) figures.doubts.push_back(unread);
  listener.end(engine, told->last_fed);
  if (listener.is_cut_short()) figures.doubts.push_back(fmt::format("Readings after {} days are not in these figures.", run_minutes_max / (24 * 60)));
  figure_points(listener, engine, figures);
  figures.decision_rule = fmt::format("A figure passes only if it lies inside its warning limits by more than its expanded uncertainty (k = 2; {}); where no uncertainty is stated, the figure itself decides ({}).",
                                      analysis::statement_of(analysis::DecisionRule::guarded_acceptance), analysis::statement_of(analysis::DecisionRule::simple_acceptance));
  figures.not_measured = not_measured(figures.profile);
  return figures;
}

}  // namespace steadyglow::record
