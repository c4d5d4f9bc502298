#pragma once
/// A night for the engine in the trade's words: each point has a course over run time; the night polls them.
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "profile/profile_toml.hpp"
#include "soak/engine.hpp"

namespace steadyglow::tests {

/// Value of a point at `seconds` of run time.
using Course = std::function<double(double seconds)>;

inline constexpr double minutes = 60.0;
inline constexpr double hours = 3600.0;

inline Course hold(double value) {
  return [=](double) { return value; };
}
/// Rises from start to end with one time constant.
inline Course warming(double start, double end, double tau_seconds) {
  return [=](double s) { return end + (start - end) * std::exp(-s / tau_seconds); };
}
/// Follows `before` until `from`, then changes by `per_hour` for ever.
inline Course ramp(Course before, double from, double per_hour) {
  return [=](double s) { return before(s) + (s > from ? (s - from) / hours * per_hour : 0.0); };
}
/// Follows `before` until `from`, then doubles what it was then every `doubling` seconds.
inline Course doubling(Course before, double from, double doubling_seconds) {
  return [=](double s) { return s <= from ? before(s) : before(from) * std::exp2((s - from) / doubling_seconds); };
}
inline Course stepping(Course before, double from, double value) {
  return [=](double s) { return s < from ? before(s) : value; };
}

/// A heavy part: follows the room and its own heat with one time constant, starting at room temperature.
/// Ask it in order of time. `rise`: kelvin over the room that its heat alone would come to.
inline Course thermal(Course room, Course rise, double tau_seconds) {
  struct State {
    double at = 0.0;
    double value = 0.0;
    bool is_begun = false;
  };
  auto state = std::make_shared<State>();
  return [=](double s) {
    if (!state->is_begun) *state = {s, room(s), true};
    while (state->at + 10.0 <= s) {
      state->at += 10.0;
      state->value += (room(state->at) + rise(state->at) - state->value) * (1.0 - std::exp(-10.0 / tau_seconds));
    }
    return state->value;
  };
}

inline profile::Profile profile_of(const std::string& text) {
  Errors errors;
  auto profile = profile::parse_profile(text, "profile.toml", errors);
  if (!profile) throw std::runtime_error(errors.front().text());
  return *profile;
}

inline profile::Plan plan_of(const std::string& text) {
  Errors errors;
  auto plan = profile::parse_plan(text, "plan.toml", errors);
  if (!plan) throw std::runtime_error(errors.front().text());
  return *plan;
}

inline const std::string usual_plan = R"(
[plan]
title = "night"
[[stage]]
kind = "warm_up"
minutes = 60
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 720
)";

class Night {
 public:
  Night(const std::string& profile_text, const std::string& plan_text = usual_plan, const soak::Policy& policy = {})
      : engine_(std::make_unique<soak::Engine>(profile_of(profile_text), plan_of(plan_text), policy)), engine(*engine_), random_(4711) {}

  /// Gives a point its course, with normal noise of `sigma` in its uom.
  Night& point(const std::string& name, Course course, double sigma = 0.0) {
    courses_[engine.profile().find(name).value().index] = {std::move(course), sigma, {}, 0.0};
    return *this;
  }
  /// From `from` to `until` (seconds) the point's readings have this quality.
  Night& bad(const std::string& name, Quality quality, double from, double until) {
    courses_.at(engine.profile().find(name).value().index).bad.push_back({quality, from, until});
    return *this;
  }
  /// From `from` to `until` nothing at all is recorded of the point.
  Night& missing(const std::string& name, double from, double until) { return bad(name, Quality::good, from, until); }

  /// The point is asked only so often (seconds, a multiple of the period).
  Night& every(const std::string& name, double seconds) {
    courses_.at(engine.profile().find(name).value().index).every = seconds;
    return *this;
  }

  void run_until(double seconds, double period_seconds = 5.0) {
    std::normal_distribution<double> normal;
    for (; seconds_ <= seconds; seconds_ += period_seconds) {
      std::vector<Reading> batch;
      const Timestamp at = at_ms(std::llround(seconds_ * 1000.0));
      for (auto& [index, course] : courses_) {
        const PointId id{index};
        if (course.every > 0.0 && std::fmod(seconds_, course.every) >= period_seconds) continue;
        const double noise = course.sigma > 0.0 ? course.sigma * normal(random_) : 0.0;
        const Span* span = nullptr;
        for (const Span& candidate : course.bad)
          if (seconds_ >= candidate.from && seconds_ < candidate.until) span = &candidate;
        if (span == nullptr) batch.push_back(Reading::good(id, at, as_powered(index, course.course(seconds_)) + noise));
        else if (span->quality != Quality::good) batch.push_back(Reading::bad(id, at, span->quality));
      }
      hear(batch.empty() ? engine.advance(at) : engine.take(batch));
      const bool is_on = engine.power() == soak::Power::on || !switch_off_works;
      if (is_on) off_at_.reset();
      else if (!off_at_) off_at_ = seconds_;
    }
  }

  /// The recording goes on at this time; nobody was there before.
  void skip_to(double seconds) { seconds_ = seconds; }

  void hear(std::span<const soak::Event> heard) { events.insert(events.end(), heard.begin(), heard.end()); }

  std::vector<soak::Finding> findings(soak::Kind kind) const {
    std::vector<soak::Finding> all;
    for (const soak::Event& event : events)
      if (const auto* finding = std::get_if<soak::Finding>(&event); finding != nullptr && finding->kind == kind && finding->is_raised) all.push_back(*finding);
    return all;
  }
  /// Everything above a note that was raised, as text: empty when the night was quiet.
  std::string loud() const {
    std::string text;
    for (const soak::Event& event : events)
      if (const auto* finding = std::get_if<soak::Finding>(&event); finding != nullptr && finding->is_raised && finding->severity != soak::Severity::note)
        text += std::to_string(seconds_of(finding->at)) + " " + std::string(to_word(finding->kind)) + ": " + finding->message + "\n";
    return text;
  }
  template <class T>
  std::vector<T> all() const {
    std::vector<T> found;
    for (const soak::Event& event : events)
      if (const auto* one = std::get_if<T>(&event)) found.push_back(*one);
    return found;
  }
  std::string name(const soak::Finding& finding) const { return engine.profile().point(finding.points.front()).name; }

 private:
  std::unique_ptr<soak::Engine> engine_;

 public:
  soak::Engine& engine;
  std::vector<soak::Event> events;
  bool switch_off_works = true;
  double bleed_tau_seconds = 30.0;

 private:
  /// Off: no current flows, and the supplies bleed down.
  double as_powered(std::uint16_t index, double value) const {
    if (!off_at_) return value;
    const auto role = engine.profile().points[index].role;
    if (role == profile::Role::mains_current || role == profile::Role::mains_power) return 0.0;
    if (role == profile::Role::supply) return value * std::exp(-(seconds_ - *off_at_) / bleed_tau_seconds);
    return value;
  }

  struct Span {
    Quality quality;
    double from;
    double until;
  };
  struct PointCourse {
    Course course;
    double sigma;
    std::vector<Span> bad;
    double every = 0.0;
  };
  std::map<std::uint16_t, PointCourse> courses_;
  std::mt19937 random_;
  double seconds_ = 0.0;
  std::optional<double> off_at_;
};

}  // namespace steadyglow::tests
