#include "app/run_hours.hpp"

#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include <nlohmann/json.hpp>
#include <variant>

#include "app/bench_clock.hpp"
#include "profile/profile_toml.hpp"
#include "record/tell_run.hpp"

namespace steadyglow::app {
namespace {

using Json = nlohmann::ordered_json;

constexpr double seconds_per_hour = 3600.0;

/// Hours with power, and when the unit first went wrong.
class Watch {
 public:
  void hear(const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine& engine) {
    if (is_on_) powered_ += input.at - last_;
    last_ = std::max(last_, input.at);
    is_on_ = engine.power() == soak::Power::on;
    for (const soak::Event& event : events) {
      if (const auto* order = std::get_if<soak::OpenOutlet>(&event); order != nullptr && order->is_trip && !tripped_) tripped_ = powered_;
      const auto* record = std::get_if<soak::AlarmRecord>(&event);
      if (record != nullptr && record->cause == alarm::Cause::unit && record->finding.severity != soak::Severity::note && !warned_) warned_ = powered_;
    }
  }
  double powered_hours() const { return hours(powered_); }
  std::optional<double> failed_hours() const { return tripped_ ? std::optional(hours(*tripped_)) : warned_ ? std::optional(hours(*warned_)) : std::nullopt; }

  static double hours(Duration duration) { return seconds_of(duration) / seconds_per_hour; }

 private:
  bool is_on_ = false;
  Timestamp last_{};
  Duration powered_{};
  std::optional<Duration> tripped_, warned_;
};

template <class Parsed, class Parse>
Result<Parsed> read_text(const std::string& text, const std::string& name, Parse parse) {
  Errors errors;
  auto parsed = parse(text, name, errors);
  if (parsed) return std::move(*parsed);
  return tl::unexpected(errors.empty() ? Error{Fault::bad_data, "`" + name + "` of a stored run cannot be read", {}, {}} : errors.front());
}

std::string kind_of(const store::RunRow& run) {
  const auto profile = read_text<profile::Profile>(run.profile_text, run.profile_name, profile::parse_profile);
  return profile ? profile->kind : std::string{};
}

/// What was proposed or signed last, and by whom.
Result<void> read_ending(store::StoreReader& reader, card::RunSeen& seen) {
  const auto events = reader.events(seen.id);
  if (!events) return tl::unexpected(events.error());
  for (const store::EventRow& event : *events) {
    if (event.kind != "verdict" && event.kind != "signature") continue;
    const Json json = Json::parse(event.json, nullptr, false);
    if (!json.is_object()) continue;
    seen.word = json.value("word", seen.word);
    if (event.kind == "signature") seen.signed_by = json.value("who", "");
  }
  return {};
}

Result<card::RunSeen> seen_of(store::StoreReader& reader, const store::RunRow& run) {
  card::RunSeen seen;
  seen.id = run.id;
  seen.unit = run.unit;
  seen.title = run.title;
  seen.serial = run.serial;
  seen.plan = run.plan_name;
  seen.started_utc = run.started_utc;
  seen.started_ms = utc_from_label(run.started_utc);
  seen.ended_utc = run.ended_utc;
  seen.state = run.state;
  if (auto ending = read_ending(reader, seen); !ending) return tl::unexpected(ending.error());
  return seen;
}

void put_hours(card::RunSeen& seen, const RunHours& hours) {
  seen.kind = hours.kind;
  seen.counted_hours = hours.counted;
  seen.powered_hours = hours.powered;
  if (seen.word == "fail") seen.failed_hours = hours.failed;
}

}  // namespace

std::string RunHours::row_json() const {
  return Json{{"run", run}, {"kind", kind}, {"counted_s", counted * seconds_per_hour}, {"powered_s", powered * seconds_per_hour}, {"failed_s", failed ? Json(*failed * seconds_per_hour) : Json(nullptr)}}.dump();
}

std::optional<RunHours> run_hours_from(const store::JournalRow& row) {
  if (row.kind != run_hours_row) return std::nullopt;
  const Json json = Json::parse(row.json, nullptr, false);
  const auto number = [&](const char* key) { return json.contains(key) && json[key].is_number() ? std::optional(json[key].get<double>()) : std::nullopt; };
  if (!json.is_object() || !number("run") || !number("counted_s") || !number("powered_s")) return std::nullopt;
  RunHours hours;
  hours.run = json["run"].get<std::int64_t>();
  hours.kind = json.contains("kind") && json["kind"].is_string() ? json["kind"].get<std::string>() : std::string{};
  hours.counted = *number("counted_s") / seconds_per_hour;
  hours.powered = *number("powered_s") / seconds_per_hour;
  if (const auto failed = number("failed_s")) hours.failed = *failed / seconds_per_hour;
  return hours;
}

Result<RunHours> hours_of(store::StoreReader& reader, const store::RunRow& run) {
  const auto profile = read_text<profile::Profile>(run.profile_text, run.profile_name, profile::parse_profile);
  if (!profile) return tl::unexpected(profile.error());
  const auto plan = read_text<profile::Plan>(run.plan_text, run.plan_name, profile::parse_plan);
  if (!plan) return tl::unexpected(plan.error());
  Watch watch;
  const auto inputs = [&](const std::function<void(const store::InputRow&)>& visit) { return reader.for_each_input(run.id, visit); };
  const auto told = record::tell_run(*profile, *plan, inputs, [&](const store::InputRow& input, std::span<const soak::Event> events, const soak::Engine& engine) { watch.hear(input, events, engine); });
  if (!told) return tl::unexpected(told.error());
  return RunHours{run.id, profile->kind, Watch::hours(told->engine->stages().counted()), watch.powered_hours(), watch.failed_hours()};
}

Result<RunsPass> pass_over_runs(const std::string& store_file, const RunsKnown& known, std::chrono::milliseconds patience) {
  const auto give_up_at = std::chrono::steady_clock::now() + patience;
  auto reader = store::StoreReader::open(store_file);
  if (!reader) return tl::unexpected(reader.error());
  const auto rows = (*reader)->runs();
  if (!rows) return tl::unexpected(rows.error());
  RunsPass pass;
  for (const store::RunRow& row : *rows) {
    if (const auto settled = known.settled.find(row.id); settled != known.settled.end()) {
      pass.runs.push_back(settled->second);
      continue;
    }
    auto seen = seen_of(**reader, row);
    if (!seen) return tl::unexpected(seen.error());
    const auto hours = known.hours.find(row.id);
    if (row.is_imported()) {
      // Which old logs are brought in is a choice: hours of theirs would not be a fair share of all repairs.
      seen->kind = kind_of(row);
      seen->counts_nothing = true;
    } else if (hours != known.hours.end()) {
      put_hours(*seen, hours->second);
    } else if (known.unreadable.contains(row.id)) {
      seen->counts_nothing = true;
    } else if (row.state == "running") {
      seen->kind = kind_of(row);
    } else if (std::chrono::steady_clock::now() > give_up_at) {
      seen->kind = kind_of(row);
      ++pass.unread;
    } else if (auto fresh = hours_of(**reader, row)) {
      put_hours(*seen, *fresh);
      pass.fresh.push_back(std::move(*fresh));
    } else {
      spdlog::warn("run {} of {} cannot be told again and counts nothing in the shop's memory: {}", row.id, row.title, fresh.error().text());
      pass.unreadable.insert(row.id);
      seen->counts_nothing = true;
    }
    pass.runs.push_back(std::move(*seen));
  }
  return pass;
}

}  // namespace steadyglow::app
