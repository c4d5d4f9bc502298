#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "core/decimal.hpp"
#include "document/table.hpp"
#include "profile/profile_toml.hpp"
#include "scenarios/course.hpp"
#include "scenarios/scenario.hpp"

namespace steadyglow::scenarios {
namespace {

using document::Table;

constexpr double day = 24.0 * 3600.0;
constexpr double hours_max = 14.0 * 24.0;
constexpr std::array severity_words{std::string_view("note"), std::string_view("warn"), std::string_view("trip")};
constexpr std::array priority_words{std::string_view("low"), std::string_view("medium"), std::string_view("high"), std::string_view("highest")};
constexpr std::array verdict_words{std::string_view("pass"), std::string_view("pass with remarks"), std::string_view("incomplete"), std::string_view("fail")};

std::vector<std::string_view> kind_words() {
  std::vector<std::string_view> words;
  for (std::uint8_t i = 0; i < soak::kind_count; ++i) words.push_back(to_word(static_cast<soak::Kind>(i)));
  return words;
}

std::optional<double> parse_clock(std::string_view text) {
  std::array<double, 3> parts{};
  std::size_t count = 0;
  while (count < parts.size()) {
    const std::size_t colon = text.find(':');
    const std::string_view part = text.substr(0, colon);
    const auto value = parse_decimal(part);
    if (part.size() != 2 || !value || *value < 0.0 || *value > (count == 0 ? 23.0 : 59.0)) return std::nullopt;
    parts[count++] = *value;
    if (colon == std::string_view::npos) break;
    text.remove_prefix(colon + 1);
    if (count == parts.size()) return std::nullopt;
  }
  if (count < 2) return std::nullopt;
  return parts[0] * 3600.0 + parts[1] * 60.0 + parts[2];
}

std::optional<std::string> text_of(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) return std::nullopt;
  return std::string(std::istreambuf_iterator<char>(in), {});
}

class Reader {
 public:
  Reader(const document::Node& root, const std::string& file, const std::string& config, Errors& errors) : top_(root, file, errors), config_(config), errors_(&errors) { scenario_.file = file; }

  std::optional<Scenario> read() {
    const std::size_t before = errors_->size();
    if (!read_head()) return std::nullopt;
    read_policy();
    read_points();
    for (Table& table : top_.tables("found")) scenario_.found.push_back(read_expected(table));
    for (Table& table : top_.tables("allowed")) scenario_.allowed.push_back(read_expected(table));
    for (Table& table : top_.tables("absent")) scenario_.absent.push_back(read_expected(table));
    for (Table& table : top_.tables("opened")) read_opening(table);
    read_ending();
    top_.done();
    const bool expects = !scenario_.found.empty() || !scenario_.absent.empty() || !scenario_.openings.empty() || scenario_.never_opens || scenario_.silent_until;
    if (!expects) top_.mistake("", "this scenario expects nothing", "add [[found]], [[absent]], [[opened]] or [ending] never_opens = true");
    if (errors_->size() > before) return std::nullopt;
    for (const bool is_twin : {false, true}) {
      std::vector<Course> courses;
      read_courses(scenario_, is_twin, courses, *errors_);
      if (errors_->size() > before) return std::nullopt;
    }
    return std::move(scenario_);
  }

 private:
  /// A file of config/ that the scenario names.
  std::optional<std::string> config_text(Table& head, std::string_view key, const std::string& folder, const std::string& name) {
    const std::filesystem::path path = std::filesystem::path(config_) / "config" / folder / (name + ".toml");
    auto text = text_of(path);
    if (!text) head.mistake(key, fmt::format("there is no {} `{}`", key, name), fmt::format("name a file of config/{}, without its ending", folder));
    return text;
  }

  bool read_head() {
    auto head = top_.maybe_table("scenario");
    if (!head) {
      if (!top_.has("scenario")) top_.mistake("", "there is no [scenario] table", "begin with [scenario] and profile = \"...\"");
      return false;
    }
    const std::size_t before = errors_->size();
    scenario_.title = head->text("title");
    scenario_.profile_name = head->text("profile");
    const std::string plan = head->maybe_text("plan").value_or("night-24h");
    const auto begins = parse_clock(head->text("begins"));
    if (!begins && head->has("begins")) head->mistake("begins", "this is no time of the day", "write \"21:00\" or \"21:00:30\"");
    scenario_.begins_at = begins.value_or(0.0);
    scenario_.lasts = 3600.0 * head->number("hours", {0.1, hours_max});
    scenario_.sampling = head->maybe_number("sampling_seconds", {0.1, 600.0}).value_or(scenario_.sampling);
    scenario_.also_sampled = head->numbers("also_sampled_seconds");
    for (const double seconds : scenario_.also_sampled)
      if (seconds < 0.1 || seconds > 600.0) head->mistake("also_sampled_seconds", fmt::format("{} s is no distance of readings", seconds), "write figures from 0.1 to 600");
    scenario_.seed = static_cast<unsigned>(head->maybe_whole("seed", {0.0, 1e6}).value_or(1));
    scenario_.is_relay_welded = head->maybe_flag("relay_welded").value_or(false);
    scenario_.stands_rough_bus = head->maybe_flag("rough_bus").value_or(true);
    scenario_.has_twin = head->maybe_flag("healthy_twin").value_or(true);
    head->done();
    if (errors_->size() > before) return false;
    const auto profile_text = config_text(*head, "profile", "profiles", scenario_.profile_name);
    const auto plan_text = config_text(*head, "plan", "plans", plan);
    if (!profile_text || !plan_text) return false;
    auto profile = profile::parse_profile(*profile_text, "config/profiles/" + scenario_.profile_name + ".toml", *errors_);
    auto the_plan = profile::parse_plan(*plan_text, "config/plans/" + plan + ".toml", *errors_);
    if (!profile || !the_plan) return false;
    scenario_.profile = std::move(*profile);
    scenario_.plan = std::move(*the_plan);
    return true;
  }

  void read_policy() {
    auto table = top_.maybe_table("policy");
    if (!table) return;
    soak::Policy& policy = scenario_.policy;
    policy.set_by = table->maybe_text("set_by").value_or("Ada");
    policy.is_unattended = true;
    if (const auto back = time(*table, "person_back_at")) policy.person_back_at = at_ms(std::llround(*back * 1000.0));
    if (table->maybe_word("after_mains", {"stay_off", "staged"}).value_or("stay_off") == "staged") policy.after_mains = soak::AfterMains::staged;
    if (table->maybe_word("on_forecast", {"tell", "cut"}).value_or("tell") == "cut") policy.on_forecast = soak::OnForecast::cut;
    policy.cut_at_share = table->maybe_number("cut_at_share", {0.05, 1.0}).value_or(policy.cut_at_share);
    policy.is_cut_when_stuck = table->maybe_flag("is_cut_when_stuck").value_or(false);
    policy.wakes_for_forecast = table->maybe_flag("wakes_for_forecast").value_or(false);
    table->done();
  }

  void read_points() {
    auto points = top_.maybe_table("points");
    if (!points) return top_.mistake("", "there is no [points] table", "say what each point does: v1_cathode_mv = \"holds 380\"");
    auto fault = top_.maybe_table("fault");
    scenario_.has_fault = fault.has_value();
    for (std::size_t i = 0; i < scenario_.profile.points.size(); ++i) {
      const std::string& name = scenario_.profile.points[i].name;
      CourseText course{i, {}, {}, {}, {}};
      const auto place = [&](Table& table) { return document::place_text(scenario_.file, table.place(name)); };
      if (const auto text = points->maybe_text(name)) {
        course.text = *text;
        course.where = place(*points);
      } else if (!points->has(name)) {
        points->mistake("", fmt::format("`{}` has no course", name), "say what it does, or \"missing\"");
      }
      if (fault) {
        if (const auto text = fault->maybe_text(name)) {
          course.fault = *text;
          course.fault_where = place(*fault);
        }
      }
      if (!course.text.empty()) scenario_.courses.push_back(std::move(course));
    }
    points->done();
    if (fault) fault->done();
  }

  std::optional<double> time(Table& table, std::string_view key) {
    const auto text = table.maybe_text(key);
    if (!text) return std::nullopt;
    const auto seconds = parse_time(*text, scenario_.begins_at);
    if (!seconds) table.mistake(key, fmt::format("`{}` is no time", *text), "write 02:40, 02:40:30 or +26 h");
    else if (*seconds > scenario_.lasts) table.mistake(key, fmt::format("`{}` is after the scenario's end", *text), "let it last longer: [scenario] hours");
    return seconds;
  }

  Span span(Table& table) {
    Span span;
    if (const auto from = time(table, "from")) span.from = *from;
    if (const auto until = time(table, "until")) span.until = *until;
    if (span.until < span.from) table.mistake("until", "it ends before it begins", "a clock time is the first one after the scenario's beginning");
    return span;
  }

  void check_points(Table& table, std::string_view key, const std::vector<std::string>& names) {
    std::vector<std::string_view> known;
    for (const profile::Point& point : scenario_.profile.points) known.push_back(point.name);
    for (const std::string& name : names) {
      if (scenario_.profile.find(name)) continue;
      const std::string near = document::nearest(name, known);
      table.mistake(key, fmt::format("the profile has no point `{}`", name), near.empty() ? "" : fmt::format("did you mean `{}`?", near));
    }
  }

  Expected read_expected(Table& table) {
    Expected expected;
    expected.where = document::place_text(scenario_.file, table.place());
    const std::vector<std::string_view> known = kind_words();
    for (const std::string& word : table.texts("kinds")) {
      const auto at = std::find(known.begin(), known.end(), word);
      if (at == known.end()) table.mistake("kinds", fmt::format("`{}` is no kind of finding", word), fmt::format("one of: {}", fmt::join(known, ", ")));
      else expected.kinds.push_back(static_cast<soak::Kind>(at - known.begin()));
    }
    expected.points = table.texts("points");
    expected.with = table.texts("with");
    check_points(table, "points", expected.points);
    check_points(table, "with", expected.with);
    expected.when = span(table);
    if (const auto word = table.maybe_word("severity", {severity_words.begin(), severity_words.end()}))
      expected.severity = static_cast<soak::Severity>(std::find(severity_words.begin(), severity_words.end(), *word) - severity_words.begin());
    expected.says = table.texts("says");
    expected.is_end = table.maybe_flag("is_end").value_or(false);
    table.done();
    return expected;
  }

  void read_opening(Table& table) {
    Opening opening;
    opening.where = document::place_text(scenario_.file, table.place());
    opening.when = span(table);
    opening.is_trip = table.maybe_flag("trip");
    opening.attempt = table.maybe_whole("attempt", {1.0, 2.0}).value_or(1);
    opening.says = table.texts("says");
    table.done();
    scenario_.openings.push_back(std::move(opening));
  }

  void read_ending() {
    auto table = top_.maybe_table("ending");
    if (!table) return;
    scenario_.silent_until = time(*table, "silent_until");
    scenario_.never_opens = table->maybe_flag("never_opens").value_or(false);
    if (const auto word = table->maybe_word("verdict", {verdict_words.begin(), verdict_words.end()}))
      scenario_.ending.verdict = static_cast<soak::VerdictWord>(std::find(verdict_words.begin(), verdict_words.end(), *word) - verdict_words.begin());
    scenario_.ending.counted_hours_least = table->maybe_number("counted_hours_least", {0.0, hours_max});
    scenario_.ending.counted_hours_most = table->maybe_number("counted_hours_most", {0.0, hours_max});
    scenario_.ending.segments = table->maybe_whole("segments", {1.0, 100.0});
    scenario_.ending.switched_on_again = table->maybe_whole("switched_on_again", {0.0, 100.0});
    if (const auto word = table->maybe_word("priority_most", {priority_words.begin(), priority_words.end()}))
      scenario_.ending.priority_most = static_cast<alarm::Priority>(std::find(priority_words.begin(), priority_words.end(), *word) - priority_words.begin());
    if (scenario_.never_opens && !scenario_.openings.empty()) table->mistake("never_opens", "but [[opened]] says when the outlet opens", "keep one of them");
    table->done();
  }

  Table top_;
  std::string config_;
  Errors* errors_;
  Scenario scenario_;
};

}  // namespace

std::optional<double> parse_time(std::string_view text, double begins_at) {
  if (text.starts_with('+')) {
    const std::size_t space = text.find(' ');
    if (space == std::string_view::npos) return std::nullopt;
    const auto value = parse_decimal(text.substr(1, space - 1));
    const std::string_view unit = text.substr(space + 1);
    const double factor = unit == "s" ? 1.0 : unit == "min" ? 60.0 : unit == "h" ? 3600.0 : 0.0;
    if (!value || *value < 0.0 || factor == 0.0) return std::nullopt;
    return *value * factor;
  }
  const auto clock = parse_clock(text);
  if (!clock) return std::nullopt;
  return std::fmod(*clock - begins_at + day, day);
}

std::string time_text(double seconds, double begins_at) {
  if (seconds >= day) return fmt::format("+{:.2f} h", seconds / 3600.0);
  const auto clock = static_cast<long>(std::fmod(begins_at + seconds, day));
  return fmt::format("{:02}:{:02}:{:02}", clock / 3600, clock / 60 % 60, clock % 60);
}

std::optional<Scenario> read_scenario(const std::string& text, const std::string& file, const std::string& root, Errors& errors) {
  const std::size_t before = errors.size();
  const document::Node node = document::parse(text, file, errors);
  if (errors.size() > before) return std::nullopt;
  return Reader(node, file, root, errors).read();
}

}  // namespace steadyglow::scenarios
