/// Feeds one scenario to an engine and compares what came out with what was expected.
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <random>

#include "scenarios/course.hpp"
#include "scenarios/scenario.hpp"
#include "soak/engine.hpp"

namespace steadyglow::scenarios {
namespace {

using soak::Finding;
using soak::OpenOutlet;
using soak::Severity;

constexpr double supply_least_volts = 50.0;  ///< less than this runs no unit
// What the bench does for a run that was left: common practice, no source.
constexpr double mains_steady_after = 600.0;  ///< seconds
constexpr double turn_after = 5.0;            ///< seconds

// A rough bus, of every reading: common practice, no source.
constexpr double lost_share = 0.02;
constexpr double late_share = 0.01;      ///< comes with the next ones, with its own time
constexpr double repeated_share = 0.01;  ///< comes again with the next ones
constexpr double jitter_share = 0.3;     ///< of the distance of two readings, either way
/// Over a rough bus, each in its turn, or read less often than the scenario says, what is due may come this many readings later, or one before.
constexpr double readings_late_max = 3.0;

std::string lower(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return text;
}

struct Heard {
  std::vector<Finding> findings;
  std::vector<OpenOutlet> openings;
  alarm::Priority priority_most = alarm::Priority::low;
  int switched_on_again = 0;
};

class Player {
 public:
  Player(const Scenario& scenario, const Manner& manner) : scenario_(&scenario), manner_(manner), engine_(scenario.profile, scenario.plan, scenario.policy), random_(scenario.seed), bus_random_(scenario.seed + 1) {
    Errors errors;  // the words were read before: they are good
    read_courses(scenario, manner.is_healthy_twin, courses_, errors);
    for (Course& course : courses_) course.bind(&courses_, &bench_);
    mains_ = scenario.profile.first_of(profile::Role::mains_voltage);
  }

  Heard run() {
    const double sampling = manner_.sampling.value_or(scenario_->sampling);
    const auto steps = static_cast<std::int64_t>(scenario_->lasts / sampling);
    const std::vector<std::vector<std::size_t>> turns = turns_of_points();
    for (std::int64_t step = 0; step <= steps; ++step) {
      const double jitter = manner_.is_bus_rough && step > 0 ? sampling * jitter_share * (2.0 * uniform_(bus_random_) - 1.0) : 0.0;
      for (std::size_t turn = 0; turn < turns.size(); ++turn)
        read(turns[turn], (static_cast<double>(step) + static_cast<double>(turn) / static_cast<double>(turns.size())) * sampling + jitter);
    }
    return std::move(heard_);
  }

  const soak::Engine& engine() const { return engine_; }

 private:
  /// Which points are read together: all of them, or each in a turn of its own, in an order that nobody chose.
  std::vector<std::vector<std::size_t>> turns_of_points() {
    std::vector<std::size_t> given;
    for (std::size_t i = 0; i < courses_.size(); ++i)
      if (courses_[i].is_given()) given.push_back(i);
    if (!manner_.has_turns) return {given};
    std::shuffle(given.begin(), given.end(), bus_random_);
    std::vector<std::vector<std::size_t>> turns;
    for (const std::size_t point : given) turns.push_back({point});
    return turns;
  }

  void read(const std::vector<std::size_t>& points, double seconds) {
    const auto normal = [this] { return normal_(random_); };
    power(seconds);
    const Timestamp at = at_ms(std::llround(seconds * 1000.0));
    std::vector<Reading> batch = std::move(held_back_);
    held_back_.clear();
    for (const std::size_t i : points) {
      const PointId id{static_cast<std::uint16_t>(i)};
      const Course::Seen seen = courses_[i].seen(seconds, normal);
      if (!seen.is_missing) send(seen.quality == Quality::good ? Reading::good(id, at, seen.value) : Reading::bad(id, at, seen.quality), batch);
    }
    hear(batch.empty() ? engine_.advance(at) : engine_.take(batch));
    serve(seconds, at);
  }

  /// Does the unit run? Its mains must be there and its outlet closed.
  void power(double seconds) {
    const bool is_open = is_bench_open_ || (engine_.power() != soak::Power::on && !(scenario_->is_relay_welded && !manner_.is_healthy_twin));
    const bool has_mains = !mains_ || !courses_[mains_->index].is_given() || courses_[mains_->index].at(seconds) > supply_least_volts;
    if (!has_mains) mains_since_.reset();
    else if (!mains_since_) mains_since_ = seconds;
    const bool was_powered = bench_.is_powered;
    bench_.is_powered = has_mains && !is_open;
    if (bench_.is_powered && !was_powered) bench_.powered_since = seconds;
  }

  /// The bench around the unit: says when its mains are steady, and gives the turn that was asked for.
  void serve(double seconds, Timestamp at) {
    soak::Act act;
    act.who = "steadyglowd";
    if (turn_at_ && seconds >= *turn_at_) {
      turn_at_.reset();
      act.kind = soak::ActKind::go_on;
      act.who = scenario_->policy.set_by;
      act.why = "its turn";
      if (engine_.why_not(act)) hear(engine_.act(at, act));
      return;
    }
    if (engine_.power() != soak::Power::lost || !mains_since_ || seconds - *mains_since_ < mains_steady_after) return;
    act.kind = soak::ActKind::supply_steady;
    act.why = "the mains of the bench are steady";
    hear(engine_.act(at, act));
  }

  void send(const Reading& reading, std::vector<Reading>& batch) {
    const double fate = manner_.is_bus_rough ? uniform_(bus_random_) : 1.0;
    if (fate < lost_share) return;
    const bool is_late = fate < lost_share + late_share;
    if (!is_late) batch.push_back(reading);
    if (fate < lost_share + late_share + repeated_share) held_back_.push_back(reading);
  }

  void hear(std::span<const soak::Event> events) {
    for (const soak::Event& event : events) {
      if (std::holds_alternative<soak::OpenBench>(event)) is_bench_open_ = true;
      if (const auto* due = std::get_if<soak::SwitchOnDue>(&event)) turn_at_ = seconds_of(due->at) + turn_after;
      if (std::holds_alternative<soak::CloseOutlet>(event)) ++heard_.switched_on_again;
      if (const auto* record = std::get_if<soak::AlarmRecord>(&event)) heard_.priority_most = std::max(heard_.priority_most, record->priority);
      if (const auto* finding = std::get_if<Finding>(&event)) heard_.findings.push_back(*finding);
      else if (const auto* opening = std::get_if<OpenOutlet>(&event)) heard_.openings.push_back(*opening);
    }
  }

  const Scenario* scenario_;
  Manner manner_;
  soak::Engine engine_;
  std::vector<Course> courses_;
  Bench bench_;
  std::optional<PointId> mains_;
  std::optional<double> mains_since_;
  std::optional<double> turn_at_;
  bool is_bench_open_ = false;
  std::mt19937 random_;
  std::normal_distribution<double> normal_;
  std::mt19937 bus_random_;
  std::uniform_real_distribution<double> uniform_;
  std::vector<Reading> held_back_;
  Heard heard_;
};

class Judge {
 public:
  Judge(const Scenario& scenario, const Heard& heard, double late_max) : scenario_(&scenario), heard_(&heard), late_max_(late_max) {}

  bool is_met(const Expected& expected, const Finding& finding) const {
    if (finding.is_raised == expected.is_end) return false;
    if (!is_in_time(expected.when, finding.at)) return false;
    if (!expected.kinds.empty() && std::find(expected.kinds.begin(), expected.kinds.end(), finding.kind) == expected.kinds.end()) return false;
    if (expected.severity && finding.severity != *expected.severity) return false;
    const auto name = [&](PointId id) { return scenario_->profile.point(id).name; };
    if (!expected.points.empty() && (finding.points.empty() || std::find(expected.points.begin(), expected.points.end(), name(finding.points.front())) == expected.points.end())) return false;
    for (const std::string& with : expected.with)
      if (std::none_of(finding.points.begin(), finding.points.end(), [&](PointId id) { return name(id) == with; })) return false;
    const std::string message = lower(finding.message);
    return std::all_of(expected.says.begin(), expected.says.end(), [&](const std::string& part) { return message.find(lower(part)) != std::string::npos; });
  }

  bool is_met(const Opening& expected, const OpenOutlet& opening) const {
    const std::string reason = lower(opening.reason);
    return opening.attempt == expected.attempt && is_in_time(expected.when, opening.at) && (!expected.is_trip || opening.is_trip == *expected.is_trip) &&
           std::all_of(expected.says.begin(), expected.says.end(), [&](const std::string& part) { return reason.find(lower(part)) != std::string::npos; });
  }

  std::string text(const Finding& finding) const {
    std::string points;
    for (const PointId id : finding.points) points += (points.empty() ? "" : ",") + scenario_->profile.point(id).name;
    return fmt::format("{} {}{} {} [{}] {}", time(seconds_of(finding.at)), finding.is_raised ? "" : "end of ", to_word(finding.severity), to_word(finding.kind), points, finding.message);
  }

  std::string time(double seconds) const { return time_text(seconds, scenario_->begins_at); }

  /// What came out, for the person who reads a failure.
  std::string all() const {
    std::string text = "what came out:";
    for (const Finding& finding : heard_->findings) text += "\n    " + this->text(finding);
    for (const OpenOutlet& opening : heard_->openings) text += fmt::format("\n    {} outlet opens, {}order {}: {}", time(seconds_of(opening.at)), opening.is_trip ? "trip, " : "", opening.attempt, opening.reason);
    return text;
  }

 private:
  bool is_in_time(Span when, Timestamp at) const {
    when.from -= late_max_ / readings_late_max;
    when.until += late_max_;
    return when.holds(seconds_of(at));
  }

  const Scenario* scenario_;
  const Heard* heard_;
  double late_max_;
};

void judge_findings(const Scenario& scenario, const Heard& heard, const Judge& judge, std::vector<std::string>& wrong) {
  for (const Expected& expected : scenario.found)
    if (std::none_of(heard.findings.begin(), heard.findings.end(), [&](const Finding& finding) { return judge.is_met(expected, finding); }))
      wrong.push_back(fmt::format("{}: not found", expected.where));
  for (const Expected& expected : scenario.absent)
    for (const Finding& finding : heard.findings)
      if (judge.is_met(expected, finding)) wrong.push_back(fmt::format("{}: must not be, but is: {}", expected.where, judge.text(finding)));
  for (const Finding& finding : heard.findings) {
    if (!finding.is_raised || finding.severity == Severity::note) continue;
    const auto is_met = [&](const Expected& expected) { return judge.is_met(expected, finding); };
    const bool is_expected = std::any_of(scenario.found.begin(), scenario.found.end(), is_met) || std::any_of(scenario.allowed.begin(), scenario.allowed.end(), is_met);
    if (!is_expected) wrong.push_back(fmt::format("nobody expected: {}", judge.text(finding)));
    if (scenario.silent_until && seconds_of(finding.at) < *scenario.silent_until) wrong.push_back(fmt::format("not silent: {}", judge.text(finding)));
  }
}

void judge_openings(const Scenario& scenario, const Heard& heard, const Judge& judge, std::vector<std::string>& wrong) {
  for (const Opening& expected : scenario.openings)
    if (std::none_of(heard.openings.begin(), heard.openings.end(), [&](const OpenOutlet& opening) { return judge.is_met(expected, opening); }))
      wrong.push_back(fmt::format("{}: the outlet was not opened so", expected.where));
  for (const OpenOutlet& opening : heard.openings) {
    const bool is_expected = std::any_of(scenario.openings.begin(), scenario.openings.end(), [&](const Opening& expected) { return judge.is_met(expected, opening); });
    if (!is_expected && (opening.is_trip || scenario.never_opens))
      wrong.push_back(fmt::format("nobody expected {}: {} {}", opening.is_trip ? "a trip" : "that the outlet opens", judge.time(seconds_of(opening.at)), opening.reason));
  }
}

void judge_ending(const Scenario& scenario, const Heard& heard, const soak::Engine& engine, std::vector<std::string>& wrong) {
  const Ending& ending = scenario.ending;
  if (ending.priority_most && heard.priority_most > *ending.priority_most)
    wrong.push_back(fmt::format("an alarm asked for {}, at most {} was expected", alarm::to_word(heard.priority_most), alarm::to_word(*ending.priority_most)));
  if (ending.switched_on_again && heard.switched_on_again != *ending.switched_on_again)
    wrong.push_back(fmt::format("switched on again {} times, {} were expected", heard.switched_on_again, *ending.switched_on_again));
  const double hours = hours_of(engine.stages().counted());
  if (ending.verdict && (!engine.verdict() || engine.verdict()->word != *ending.verdict))
    wrong.push_back(fmt::format("verdict is {}, {} was expected", engine.verdict() ? to_word(engine.verdict()->word) : "not there", to_word(*ending.verdict)));
  if (ending.counted_hours_least && hours < *ending.counted_hours_least) wrong.push_back(fmt::format("{:.2f} hours counted, at least {} were expected", hours, *ending.counted_hours_least));
  if (ending.counted_hours_most && hours > *ending.counted_hours_most) wrong.push_back(fmt::format("{:.2f} hours counted, at most {} were expected", hours, *ending.counted_hours_most));
  if (ending.segments && engine.stages().segment() + 1 != *ending.segments) wrong.push_back(fmt::format("{} segments, {} were expected", engine.stages().segment() + 1, *ending.segments));
}

}  // namespace

std::vector<std::string> play(const Scenario& scenario, const Manner& manner) {
  Player player(scenario, manner);
  const Heard heard = player.run();
  const double sampling = manner.sampling.value_or(scenario.sampling);
  const bool is_as_told = !manner.is_bus_rough && !manner.has_turns && sampling <= scenario.sampling;
  const Judge judge(scenario, heard, is_as_told ? 0.0 : readings_late_max * sampling);
  std::vector<std::string> wrong;
  if (manner.is_healthy_twin) {
    for (const Finding& finding : heard.findings)
      if (finding.is_raised && finding.severity != Severity::note) wrong.push_back(fmt::format("nothing is wrong with the unit, yet: {}", judge.text(finding)));
    for (const OpenOutlet& opening : heard.openings)
      if (opening.is_trip) wrong.push_back(fmt::format("nothing is wrong with the unit, yet it was cut at {}: {}", judge.time(seconds_of(opening.at)), opening.reason));
    return wrong;
  }
  judge_findings(scenario, heard, judge, wrong);
  judge_openings(scenario, heard, judge, wrong);
  judge_ending(scenario, heard, player.engine(), wrong);
  if (!wrong.empty()) wrong.push_back(judge.all());
  return wrong;
}

}  // namespace steadyglow::scenarios
