#include <fmt/format.h>

#include <algorithm>

#include <array>

#include "document/table.hpp"
#include "profile/profile_toml.hpp"

namespace steadyglow::profile {
namespace {

using document::Table;

constexpr std::array<std::string_view, stage_kind_count> stage_words{"bring_up", "warm_up", "baseline", "idle_soak", "driven_soak", "cool_down", "power_cycles", "final_check"};
constexpr double plan_seconds_max = 3600.0;
constexpr double bleed_minutes_max = 24.0 * 60.0;
constexpr double stage_minutes_max = 14.0 * 24.0 * 60.0;

Duration from_minutes(double minutes) { return Duration{static_cast<Duration::rep>(minutes * 60000.0 + 0.5)}; }

constexpr double cycles_max = 100.0;
// A start is watched for five minutes, and a unit that was on rests as long before the next: common practice, no source.
constexpr double on_minutes_min = 6.0;
constexpr double off_minutes_min = 5.0;

Stage parse_stage(Table& table) {
  Stage stage;
  const std::string kind = table.word("kind", {stage_words.begin(), stage_words.end()});
  for (std::size_t i = 0; i < stage_words.size(); ++i)
    if (stage_words[i] == kind) stage.kind = static_cast<StageKind>(i);
  if (stage.kind == StageKind::power_cycles) {
    stage.cycles = table.whole("cycles", {1.0, cycles_max});
    stage.on = from_minutes(table.number("on_minutes", {on_minutes_min, stage_minutes_max}));
    stage.off = from_minutes(table.number("off_minutes", {off_minutes_min, stage_minutes_max}));
    stage.planned = stage.cycles * (stage.on + stage.off);
  } else {
    stage.planned = from_minutes(table.number("minutes", {0.0, stage_minutes_max}));
  }
  const bool is_soak = stage.kind == StageKind::idle_soak || stage.kind == StageKind::driven_soak;
  stage.is_counted = table.maybe_flag("counted").value_or(is_soak);
  if (stage.is_counted && !is_soak)
    table.mistake("counted", fmt::format("hours of {} cannot count", kind), "only idle_soak and driven_soak count");
  table.done();
  return stage;
}

void check_order(Table& top, const Plan& plan) {
  bool has_soak = false;
  bool has_baseline = false;
  for (const Stage& stage : plan.stages) {
    if (stage.is_counted && !has_baseline)
      return top.mistake("stage", "a counted soak stands before the baseline", "drift and pairs are judged against a baseline: put one before it");
    has_baseline |= stage.kind == StageKind::baseline;
    has_soak |= stage.is_counted;
  }
  if (!has_soak) top.mistake("stage", "the plan has no counted soak stage", "add a [[stage]] with kind = \"idle_soak\"");
}

}  // namespace

std::string_view to_word(StageKind kind) { return stage_words[static_cast<std::size_t>(kind)]; }

Duration Plan::counted_planned() const {
  Duration sum{};
  for (const Stage& stage : stages)
    if (stage.is_counted) sum += stage.planned;
  return sum;
}

Plan plan_without_file() {
  Plan plan;
  plan.title = "without a plan";
  plan.is_off_at_end = false;
  plan.stages = {{StageKind::warm_up, from_minutes(60.0), false},
                 {StageKind::baseline, from_minutes(30.0), false},
                 {StageKind::idle_soak, from_minutes(stage_minutes_max), true}};
  return plan;
}

std::optional<Plan> parse_plan(std::string_view text, std::string_view file, Errors& errors) {
  const std::size_t errors_before = errors.size();
  const document::Node root = document::parse(text, file, errors);
  if (errors.size() > errors_before) return std::nullopt;
  Table top(root, file, errors);
  Plan plan;
  if (auto head = top.maybe_table("plan")) {
    plan.title = head->text("title");
    plan.is_off_at_end = head->maybe_word("at_end", {"off", "leave_on"}).value_or("off") == "off";
    const auto seconds = [&](std::string_view key, Duration& into) {
      if (const auto value = head->maybe_number(key, {0.5, plan_seconds_max})) into = from_minutes(*value / 60.0);
    };
    seconds("off_proven_within_seconds", plan.off_proven_within);
    seconds("silent_after_seconds", plan.silent_after);
    seconds("blind_trip_after_seconds", plan.blind_trip_after);
    plan.bench_opened_after = std::max(plan.bench_opened_after, 2 * plan.off_proven_within);
    seconds("bench_opened_after_seconds", plan.bench_opened_after);
    if (const auto minutes = head->maybe_number("bleed_down_minutes", {0.1, bleed_minutes_max})) plan.bleed_down = from_minutes(*minutes);
    if (plan.bench_opened_after <= plan.off_proven_within)
      head->mistake("bench_opened_after_seconds", "the bench would be opened before the unit's own relay is known to have failed", "let it be longer than off_proven_within_seconds");
    head->done();
  } else if (!top.has("plan")) {
    top.mistake("", "there is no [plan] table", "begin with [plan] and title = \"...\"");
  }
  auto tables = top.tables("stage");
  top.done();
  if (tables.empty()) top.mistake("stage", "a plan needs at least one [[stage]]");
  else if (tables.size() > stages_max) top.mistake("stage", fmt::format("{} stages are more than {}", tables.size(), stages_max));
  for (Table& table : tables) plan.stages.push_back(parse_stage(table));
  if (errors.size() == errors_before) check_order(top, plan);
  if (errors.size() > errors_before) return std::nullopt;
  return plan;
}

}  // namespace steadyglow::profile
