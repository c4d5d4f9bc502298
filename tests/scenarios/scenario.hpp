#pragma once
/// A night as a technician would tell it: what each point does, what must be found, and what must not.
/// The words are explained in README.md beside this file.
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "alarm/fact.hpp"
#include "core/quality.hpp"
#include "core/result.hpp"
#include "profile/plan.hpp"
#include "profile/profile.hpp"
#include "soak/event.hpp"
#include "soak/policy.hpp"

namespace steadyglow::scenarios {

/// Run time in seconds, from..until; open ends are the whole run.
struct Span {
  double from = 0.0;
  double until = 1e12;
  bool holds(double seconds) const { return seconds >= from && seconds <= until; }
};

/// What must, may or must not be found.
struct Expected {
  std::string where;                 ///< file:line:column
  std::vector<soak::Kind> kinds;     ///< any of them; empty: any kind
  std::vector<std::string> points;   ///< the first-named point is one of them; empty: any
  std::vector<std::string> with;     ///< each is named by the finding as well
  Span when;
  std::optional<soak::Severity> severity;
  std::vector<std::string> says;     ///< parts of the message, in any case
  bool is_end = false;               ///< the end of the finding, not its beginning
};

struct Opening {
  std::string where;
  Span when;
  std::optional<bool> is_trip;
  int attempt = 1;
  std::vector<std::string> says;     ///< parts of the reason, in any case
};

/// The engine's verdict and hours at the end of the scenario.
struct Ending {
  std::optional<soak::VerdictWord> verdict;
  std::optional<double> counted_hours_least;
  std::optional<double> counted_hours_most;
  std::optional<int> segments;
  std::optional<alarm::Priority> priority_most;  ///< no alarm of the run asks for more: nobody is woken below `high`
  std::optional<int> switched_on_again;          ///< how often the bench gave it its turn
};

/// One point's course: clauses in the order in which they are applied (see course.hpp).
struct CourseText {
  std::size_t point = 0;
  std::string where;
  std::string text;        ///< the healthy unit
  std::string fault;       ///< what is wrong with it; empty: nothing
  std::string fault_where;
};

struct Scenario {
  std::string file;
  std::string title;
  std::string profile_name;
  profile::Profile profile;
  profile::Plan plan;
  soak::Policy policy;               ///< what whoever left it decided; nothing without [policy]
  double begins_at = 0.0;            ///< clock time at run time zero, seconds of the day
  double lasts = 0.0;                ///< seconds
  double sampling = 5.0;             ///< seconds
  std::vector<double> also_sampled;  ///< seconds; the same must come out at these
  unsigned seed = 1;
  bool is_relay_welded = false;
  bool has_fault = false;
  bool stands_rough_bus = true;      ///< the same must come out when readings get lost and come late
  bool has_twin = true;              ///< the same night without its fault must be silent
  std::vector<CourseText> courses;
  std::vector<Expected> found;       ///< must be there
  std::vector<Expected> allowed;     ///< may be there
  std::vector<Expected> absent;      ///< must not be there, whatever `allowed` says
  std::optional<double> silent_until;
  std::vector<Opening> openings;
  bool never_opens = false;
  Ending ending;
};

/// Reads a scenario and the profile and plan that it names under `root`/config. Every mistake goes into `errors` with
/// file:line:column and a hint; the result is empty if there was any.
std::optional<Scenario> read_scenario(const std::string& text, const std::string& file, const std::string& root, Errors& errors);

/// "23:15", "23:15:30" (the first such time after `begins_at`), "+26 h", "+90 min", "+45 s": seconds of run time.
std::optional<double> parse_time(std::string_view text, double begins_at);
/// "02:43:27" or "+26.5 h" for a person.
std::string time_text(double seconds, double begins_at);

/// How a scenario is played.
struct Manner {
  bool is_healthy_twin = false;         ///< without its fault
  bool is_bus_rough = false;            ///< readings get lost, come twice, late and at uneven times
  std::optional<double> sampling = {};  ///< seconds; the scenario's own if absent
  bool has_turns = false;               ///< each point is read at its own moment between two samplings, as meters on a bus are; else all at once
};

/// What went wrong; empty: the engine did all that is expected.
std::vector<std::string> play(const Scenario& scenario, const Manner& manner = {});

}  // namespace steadyglow::scenarios
