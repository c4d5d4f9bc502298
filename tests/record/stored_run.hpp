#pragma once
/// A run as the store would hold it: made by living through it once, with meters that fail and people who do things.
#include <cmath>
#include <functional>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "record/run_figures.hpp"
#include "soak/act.hpp"
#include "soak/policy.hpp"
#include "support/night.hpp"

namespace steadyglow::record_test {

class StoredRun {
 public:
  StoredRun(std::string profile_text, std::string plan_text, const soak::Policy& policy = {})
      : engine_(std::make_unique<soak::Engine>(tests::profile_of(profile_text), tests::plan_of(plan_text), policy)), courses_(engine_->profile().points.size()) {
    row.id = 7;
    row.unit = "brindlecombe35";
    row.title = "Brindlecombe 35";
    row.serial = "B35-0117";
    row.profile_name = "brindlecombe35";
    row.profile_text = std::move(profile_text);
    row.plan_name = "night-24h";
    row.plan_text = std::move(plan_text);
    row.started_utc = "2026-03-12T18:00:00.000Z";
    row.started_by = "Ada";
    row.state = "ended";
    for (const auto& point : engine_->profile().points) row.points.push_back(point.name);
    add({0, Timestamp{}, std::string(record::input_kind_policy), {}, soak::to_json_text(policy)});
  }

  StoredRun& point(const std::string& name, tests::Course course, double sigma = 0.0) {
    courses_[id(name).index] = {std::move(course), sigma, {}};
    return *this;
  }
  /// Between these run times (seconds) the point's readings have this quality.
  StoredRun& bad(const std::string& name, Quality quality, double from, double until) {
    courses_[id(name).index].bad.push_back({quality, from, until});
    return *this;
  }
  StoredRun& run_until(double seconds, double period = 10.0) {
    std::normal_distribution<double> normal;
    for (; at_ + period <= seconds; at_ += period) {
      const Timestamp at = at_ms(std::llround((at_ + period) * 1000.0));
      std::vector<Reading> batch;
      for (std::size_t i = 0; i < courses_.size(); ++i) {
        Course& course = courses_[i];
        if (!course.value) continue;
        const PointId id{static_cast<std::uint16_t>(i)};
        const double s = at_ + period;
        const double value = (is_on() ? course.value(s) : off_value(engine_->profile().point(id), course.value(s))) + (course.sigma > 0.0 ? course.sigma * normal(random_) : 0.0);
        Quality quality = Quality::good;
        for (const auto& span : course.bad)
          if (s >= span.from && s < span.until) quality = span.quality;
        batch.push_back(Reading::of(id, at, quality == Quality::good ? value : 0.0, quality));
      }
      hear(engine_->take(batch));
      add({0, at, std::string(store::input_kind_readings), std::move(batch), {}});
    }
    return *this;
  }
  StoredRun& act(soak::Act act) {
    const Timestamp at = engine_->now() + Duration{1};
    hear(engine_->act(at, act));
    add({0, at, std::string(soak::to_word(act.kind)), {}, soak::to_json_text(act)});
    return *this;
  }
  StoredRun& event(std::string_view kind, std::string json) {
    events.push_back({++seq_, engine_->now(), std::string(kind), std::move(json)});
    return *this;
  }

  const soak::Engine& engine() const { return *engine_; }
  bool is_on() const { return engine_->power() == soak::Power::on; }
  record::Inputs inputs() const {
    return [this](const std::function<void(const store::InputRow&)>& visit) -> Result<void> {
      for (const store::InputRow& input : inputs_) visit(input);
      return {};
    };
  }
  Result<record::RunFigures> figures() const { return record::figures_of(row, inputs(), events); }

  store::RunRow row;
  std::vector<store::EventRow> events;
  std::vector<soak::Event> heard;

 private:
  struct Span {
    Quality quality;
    double from, until;
  };
  struct Course {
    tests::Course value;
    double sigma = 0.0;
    std::vector<Span> bad;
  };
  PointId id(const std::string& name) const { return engine_->profile().find(name).value(); }
  /// Off: nothing flows, and what was warm is left as it is.
  static double off_value(const profile::Point& point, double value) {
    const bool stays = point.is_temperature() || point.role == profile::Role::mains_voltage;
    return stays ? value : 0.0;
  }
  void hear(std::span<const soak::Event> said) { heard.insert(heard.end(), said.begin(), said.end()); }
  void add(store::InputRow input) {
    input.seq = ++seq_;
    inputs_.push_back(std::move(input));
  }

  std::unique_ptr<soak::Engine> engine_;
  std::vector<Course> courses_;
  std::vector<store::InputRow> inputs_;
  std::mt19937 random_{4711};
  double at_ = 0.0;
  std::int64_t seq_ = 0;
};

// ---- the runs that the pages are looked at with ----------------------------------------------------------------

inline const std::string day_plan = R"(
[plan]
title = "a day and a night"
[[stage]]
kind = "warm_up"
minutes = 60
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 1440
counted = true
)";

inline std::string point_text(const std::string& name, const char* quantity, const char* uom, const char* role, const std::string& more = {}) {
  return "[[point]]\nname = \"" + name + "\"\nquantity = \"" + quantity + "\"\nuom = \"" + uom + "\"\nrole = \"" + role + "\"\n" + more + "\n";
}

inline std::string head_text(const std::string& kind = "tube-pp-fixed-bias") { return "[profile]\nkind = \"" + kind + "\"\nmains_nominal_volts = 230.0\nsource = \"common practice, no source\"\n"; }

inline const std::string tube_limits = "nominal = 380.0\nwarn = { low = 304.0, high = 456.0 }\ntrip = { high = 554.0 }\nsense_ohms = 10.0\naccuracy = { percent_of_reading = 0.5, counts = 3.0, resolution = 0.1 }\nprotective = true\n";

/// Two tubes, mains, room and the transformer: the least that a shop would measure, and a little.
inline std::string small_amp() {
  return head_text() + point_text("v1_cathode_mv", "voltage", "mV", "bias", tube_limits + "matched_with = [\"v2_cathode_mv\"]") + point_text("v2_cathode_mv", "voltage", "mV", "bias", tube_limits + "matched_with = [\"v1_cathode_mv\"]") +
         point_text("b_plus_v", "voltage", "V", "supply", "warn = { low = 425.0, high = 480.0 }\ntrip = { low = 384.0, high = 520.0 }\nsource = \"-15 % trips: common practice, no source\"") +
         point_text("power_transformer_c", "temperature", "Cel", "transformer", "warn = { high = 85.0 }\ntrip = { high = 95.0 }") + point_text("mains_v", "voltage", "V", "mains_voltage") +
         point_text("mains_w", "power", "W", "mains_power") + point_text("mains_a", "current", "A", "mains_current") + point_text("room_c", "temperature", "Cel", "ambient");
}

inline void play_small_amp(StoredRun& run) {
  const auto mains = [](double s) { return 230.0 + 2.0 * std::sin(s / 9000.0); };
  const auto room = [](double s) { return 21.0 - 3.0 * std::sin(s / 27000.0); };
  const auto settle = [](double s) { return 1.0 - std::exp(-(s + 5.0) / 40.0) * 0.98; };
  for (const char* tube : {"v1_cathode_mv", "v2_cathode_mv"}) run.point(tube, [=](double s) { return (380.0 + (tube[1] == '1' ? 3.0 : -2.0)) * settle(s) * std::pow(mains(s) / 230.0, 1.5); }, 0.8);
  run.point("b_plus_v", [=](double s) { return 452.0 * settle(s) * mains(s) / 230.0; }, 0.3);
  run.point("power_transformer_c", tests::thermal(room, [=](double s) { return 34.0 * std::pow(mains(s) / 230.0, 2.0); }, 3600.0), 0.1);
  run.point("mains_v", mains, 0.2);
  run.point("mains_w", [=](double s) { return (126.0 + 90.0 * std::exp(-s / 8.0)) * std::pow(mains(s) / 230.0, 2.0); }, 0.4);
  run.point("mains_a", [=](double s) { return 0.58 * mains(s) / 230.0; }, 0.002);
  run.point("room_c", room, 0.05);
}

}  // namespace steadyglow::record_test
