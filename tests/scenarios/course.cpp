#include "scenarios/course.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <random>

#include "core/decimal.hpp"
#include "document/table.hpp"

namespace steadyglow::scenarios {
namespace {

constexpr double pi = 3.14159265358979323846;

std::vector<std::string> split(const std::string& text, char at) {
  std::vector<std::string> parts;
  std::size_t begin = 0;
  while (begin <= text.size()) {
    const std::size_t end = std::min(text.find(at, begin), text.size());
    if (end > begin) parts.push_back(text.substr(begin, end - begin));
    begin = end + 1;
  }
  return parts;
}

const std::vector<std::string_view> action_words{"holds",  "warms", "heats",   "follows", "adds",    "settles",  "noise",       "digit",       "is",        "by",    "ramps",   "doubles", "grows",
                                                 "nears",  "swings", "wanders", "missing", "frozen",  "over_range", "open_sensor", "stale",     "no_answer", "refused", "implausible"};

}  // namespace

/// The words of one clause, taken one by one. The first mistake is kept; after it everything reads as nothing.
class Words {
 public:
  Words(const Scenario& scenario, const std::string& clause) : scenario_(&scenario), clause_(clause), words_(split(clause, ' ')) {}

  bool peek(std::string_view word) const { return next_ < words_.size() && words_[next_] == word; }
  bool maybe(std::string_view word) {
    if (!peek(word)) return false;
    ++next_;
    return true;
  }
  void need(std::string_view word) {
    if (!maybe(word)) wrong(fmt::format("`{}` is expected", word));
  }
  std::string word() { return next_ < words_.size() ? words_[next_++] : (wrong("it ends too early"), std::string()); }
  double number() {
    const std::string text = word();
    const auto value = parse_decimal(text);
    if (!value && mistake.empty()) wrong(fmt::format("`{}` is no number", text));
    return value.value_or(0.0);
  }
  /// Is what follows a share? Then the figure before was in per cent.
  bool is_percent() { return maybe("%"); }
  double duration() {
    const double value = number();
    const std::string unit = word();
    const double factor = unit == "s" ? 1.0 : unit == "min" ? 60.0 : unit == "h" ? 3600.0 : 0.0;
    if (factor == 0.0 || value <= 0.0) wrong(fmt::format("`{} {}` is no span of time: write 30 s, 5 min or 2 h", value, unit));
    return factor == 0.0 || value <= 0.0 ? 1.0 : value * factor;
  }
  double time() {
    std::string text = word();
    if (text.starts_with('+')) text += " " + word();
    const auto seconds = parse_time(text, scenario_->begins_at);
    if (!seconds) wrong(fmt::format("`{}` is no time: write 02:40, 02:40:30 or +26 h", text));
    return seconds.value_or(0.0);
  }
  /// A point's name, or `mains` for the point of that role.
  std::size_t point() {
    const std::string name = word();
    const auto id = name == "mains" ? scenario_->profile.first_of(profile::Role::mains_voltage) : name == "room" ? scenario_->profile.first_of(profile::Role::ambient) : scenario_->profile.find(name);
    if (!id && mistake.empty()) wrong(fmt::format("the profile has no point `{}`", name));
    return id ? id->index : 0;
  }
  void done() {
    if (next_ < words_.size()) wrong(fmt::format("`{}` is too much", words_[next_]));
  }
  void wrong(const std::string& what) {
    if (mistake.empty()) mistake = fmt::format("in `{}`: {}", clause_, what);
  }

  std::string mistake;
  std::string hint;

 private:
  const Scenario* scenario_;
  std::string clause_;
  std::vector<std::string> words_;
  std::size_t next_ = 0;
};

bool Course::Window::is_in(double seconds) const {
  if (!when.holds(seconds)) return false;
  return every == 0.0 || std::fmod(seconds - when.from, every) < lasting;
}

void Course::add(const Scenario& scenario, std::size_t point, const std::string& text, const std::string& where, Errors& errors) {
  for (const std::string& clause : split(text, ',')) {
    Words words(scenario, clause);
    Window window;
    bool has_window = true;
    while (has_window) {
      if (words.maybe("from") || words.maybe("at")) window.when.from = words.time();
      else if (words.maybe("until")) window.when.until = words.time();
      else if (words.maybe("every")) {
        window.every = words.duration();
        words.need("for");
        window.lasting = words.duration();
      } else has_window = false;
    }
    const auto during = [window](Step step) -> Step { return [window, step = std::move(step)](double before, double s) { return window.is_in(s) ? step(before, s) : before; }; };
    /// Seconds of the window that have passed; what has been reached stays when it is over.
    const auto passed = [window](double s) { return std::clamp(s, window.when.from, window.when.until) - window.when.from; };
    const std::string action = words.word();
    if (action == "holds") {
      const double value = words.number();
      steps_.push_back([=](double, double) { return value; });
    } else if (action == "warms") {
      words.need("from");
      const double cold = words.number();
      words.need("to");
      const double warm = words.number();
      words.need("tau");
      const double tau = words.duration();
      steps_.push_back([=, this](double, double s) { return warm + (cold - warm) * std::exp(-(s - bench_->powered_since) / tau); });
    } else if (action == "heats") {
      const double kelvin = words.number();
      words.need("over");
      const std::size_t room = words.point();
      std::optional<std::size_t> source;
      double full = 1.0;
      if (words.maybe("at")) {
        full = words.number();
        words.need("of");
        source = words.point();
        asks.push_back(*source);
      }
      words.need("tau");
      const double tau = words.duration();
      asks.push_back(room);
      struct State {
        double at = -1.0;
        double value = 0.0;
      };
      auto state = std::make_shared<State>();
      steps_.push_back([=, this](double, double s) {
        const double power = source ? other(*source, s) / full : bench_->is_powered ? 1.0 : 0.0;
        const double goal = other(room, s) + kelvin * power;
        if (state->at < 0.0) state->value = other(room, s);
        else state->value += (goal - state->value) * (1.0 - std::exp(-(s - state->at) / tau));
        state->at = s;
        return state->value;
      });
    } else if (action == "follows") {
      const std::size_t source = words.point();
      const double exponent = words.number();
      asks.push_back(source);
      const profile::Point& leader = scenario.profile.points[source];
      const auto nominal = leader.role == profile::Role::mains_voltage && scenario.profile.mains_nominal ? std::optional(scenario.profile.mains_nominal->value) : leader.nominal;
      if (!nominal) words.wrong(fmt::format("`{}` has no nominal to follow", leader.name));
      steps_.push_back(during([=, this](double before, double s) { return before * std::pow(std::max(other(source, s) / nominal.value_or(1.0), 0.0), exponent); }));
    } else if (action == "adds") {
      const double slope = words.number();
      words.need("per");
      const std::size_t source = words.point();
      words.need("around");
      const double around = words.number();
      asks.push_back(source);
      steps_.push_back(during([=, this](double before, double s) { return before + slope * (other(source, s) - around); }));
    } else if (action == "settles") {
      const double amount = words.number();
      const bool is_share = words.is_percent();
      words.need("tau");
      const double tau = words.duration();
      steps_.push_back([=, this](double before, double s) {
        const double left = amount * std::exp(-(s - bench_->powered_since) / tau);
        return is_share ? before * (1.0 + left / 100.0) : before + left;
      });
    } else if (action == "is") {
      const double value = words.number();
      steps_.push_back(during([=](double, double) { return value; }));
    } else if (action == "by") {
      const double amount = words.number();
      const bool is_share = words.is_percent();
      steps_.push_back(during([=](double before, double) { return is_share ? before * (1.0 + amount / 100.0) : before + amount; }));
    } else if (action == "ramps") {
      const double amount = words.number();
      const bool is_share = words.is_percent();
      words.need("per");
      words.need("hour");
      steps_.push_back([=](double before, double s) {
        const double moved = amount * passed(s) / 3600.0;
        return is_share ? before * (1.0 + moved / 100.0) : before + moved;
      });
    } else if (action == "doubles") {
      words.need("every");
      const double period = words.duration();
      steps_.push_back([=](double before, double s) { return before * std::exp2(passed(s) / period); });
    } else if (action == "grows") {
      const double share = words.number() / 100.0;
      words.need("%");
      words.need("doubling");
      words.need("every");
      const double period = words.duration();
      steps_.push_back([=](double before, double s) { return before * (1.0 + share * (std::exp2(passed(s) / period) - 1.0)); });
    } else if (action == "nears") {
      const double goal = words.number();
      const bool is_share = words.is_percent();
      words.need("tau");
      const double tau = words.duration();
      steps_.push_back([=](double before, double s) {
        const double target = is_share ? before * goal / 100.0 : goal;
        return target + (before - target) * std::exp(-passed(s) / tau);
      });
    } else if (action == "swings") {
      const double amount = words.number();
      const bool is_share = words.is_percent();
      words.need("every");
      const double period = words.duration();
      steps_.push_back(during([=](double before, double s) {
        const double swing = amount * std::sin(2.0 * pi * s / period);
        return is_share ? before * (1.0 + swing / 100.0) : before + swing;
      }));
    } else if (action == "wanders") {
      const double sigma = words.number();
      words.need("tau");
      const double tau = words.duration();
      struct State {
        std::mt19937 random;
        double at = 0.0;
        double value = 0.0;
      };
      auto state = std::make_shared<State>();
      state->random.seed(scenario.seed * 1009u + static_cast<unsigned>(point));
      steps_.push_back([=](double before, double s) {
        std::normal_distribution<double> normal;
        const double keeps = std::exp(-(s - state->at) / tau);
        state->value = state->value * keeps + sigma * std::sqrt(1.0 - keeps * keeps) * normal(state->random);
        state->at = s;
        return before + state->value;
      });
    } else if (action == "noise") {
      noises_.push_back({window, words.number()});
    } else if (action == "digit") {
      digit_ = words.number();
    } else if (action == "missing") {
      blanks_.push_back({window, true, false, Quality::good});
    } else if (action == "frozen") {
      blanks_.push_back({window, false, true, Quality::good});
    } else if (const auto quality = quality_from_word(action); quality && *quality != Quality::good && *quality != Quality::contact_lost) {
      blanks_.push_back({window, false, false, *quality});
    } else {
      words.wrong(fmt::format("`{}` is nothing that a point does", action));
      const std::string near = document::nearest(action, action_words);
      words.hint = near.empty() ? fmt::format("one of: {}", fmt::join(action_words, ", ")) : fmt::format("did you mean `{}`?", near);
    }
    words.done();
    if (!words.mistake.empty()) errors.push_back({Fault::config, words.mistake, words.hint, where});
  }
}

void Course::bind(std::vector<Course>* all, const Bench* bench) {
  all_ = all;
  bench_ = bench;
}

double Course::at(double seconds) {
  if (at_ == seconds) return value_;
  double value = 0.0;
  for (const Step& step : steps_) value = step(value, seconds);
  if (is_electrical_ && !bench_->is_powered) value = 0.0;
  at_ = seconds;
  value_ = value;
  return value;
}

Course::Seen Course::seen(double seconds, const std::function<double()>& normal) {
  Seen seen;
  seen.value = at(seconds);
  for (const Noise& noise : noises_)
    if (noise.window.is_in(seconds)) seen.value += noise.sigma * normal();
  if (is_unsigned_) seen.value = std::max(seen.value, 0.0);
  if (digit_ > 0.0) seen.value = std::round(seen.value / digit_) * digit_;
  for (const Blank& blank : blanks_) {
    if (!blank.window.is_in(seconds)) continue;
    if (blank.is_frozen && frozen_) seen.value = *frozen_;
    seen.is_missing |= blank.is_missing;
    if (!blank.is_frozen && !blank.is_missing) seen.quality = blank.quality;
  }
  frozen_ = seen.value;
  return seen;
}

namespace {

/// Do the point's clauses lead back to itself?
bool leads_to(const std::vector<Course>& courses, std::size_t from, std::size_t to, std::vector<bool>& seen) {
  if (seen[from]) return false;
  seen[from] = true;
  return std::any_of(courses[from].asks.begin(), courses[from].asks.end(), [&](std::size_t next) { return next == to || leads_to(courses, next, to, seen); });
}

}  // namespace

void read_courses(const Scenario& scenario, bool is_healthy_twin, std::vector<Course>& courses, Errors& errors) {
  const profile::Profile& profile = scenario.profile;
  courses.clear();
  courses.resize(profile.points.size());  // clauses keep the address of their course: it must not move
  for (const CourseText& text : scenario.courses) {
    courses[text.point].add(scenario, text.point, text.text, text.where, errors);
    if (!is_healthy_twin) courses[text.point].add(scenario, text.point, text.fault, text.fault_where, errors);
  }
  for (const CourseText& text : scenario.courses) {
    std::vector<bool> seen(courses.size());
    if (leads_to(courses, text.point, text.point, seen))
      errors.push_back({Fault::config, fmt::format("`{}` follows itself in a circle", profile.points[text.point].name), "let one of them hold", text.where});
    for (const std::size_t asked : courses[text.point].asks)
      if (!courses[asked].is_given()) errors.push_back({Fault::config, fmt::format("`{}` follows `{}`, which has no course", profile.points[text.point].name, profile.points[asked].name), "give it one in [points]", text.where});
  }
  for (std::size_t i = 0; i < courses.size(); ++i) {
    const profile::Point& point = profile.points[i];
    const bool has_own_life = point.is_temperature() || point.role == profile::Role::ambient || point.role == profile::Role::mains_voltage || point.quantity == Quantity::frequency;
    courses[i].set_electrical(!has_own_life);
    courses[i].set_unsigned(point.is_mains() || point.role == profile::Role::level || point.role == profile::Role::speed || point.role == profile::Role::supply_current || point.quantity == Quantity::power ||
                            point.quantity == Quantity::frequency);
  }
}

}  // namespace steadyglow::scenarios
