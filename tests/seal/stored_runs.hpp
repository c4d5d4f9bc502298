#pragma once
/// Runs in a store, as a daemon leaves them: inputs in the order of feeding, and beside them what the engine said.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <functional>
#include <memory>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "profile/profile_toml.hpp"
#include "record/tell_run.hpp"
#include "seal/engine_words.hpp"
#include "soak/act.hpp"
#include "soak/engine.hpp"
#include "soak/policy.hpp"
#include "store/store.hpp"

namespace steadyglow::seal {

/// A folder below the build tree that goes away with the test.
class Folder {
 public:
  explicit Folder(const std::string& name) : path_(std::filesystem::current_path() / ("seal_" + name + "_" + std::to_string(getpid()))) {
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_);
  }
  Folder() : Folder(std::string(testing::UnitTest::GetInstance()->current_test_info()->test_suite_name()) + "_" + testing::UnitTest::GetInstance()->current_test_info()->name()) {}
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  std::string file(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

inline const std::string four_tubes = R"([profile]
kind = "tube-pp-fixed-bias"
title = "Brindlecombe 35"
mains_nominal_volts = 230.0
warm_up_minutes = 5
[[point]]
name = "v1_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
warn = { low = 300.0, high = 460.0 }
trip = { high = 570.0 }
[[point]]
name = "b_plus"
quantity = "voltage"
uom = "V"
role = "supply"
nominal = 452.0
[[point]]
name = "mains_v"
quantity = "voltage"
uom = "V"
role = "mains_voltage"
[[point]]
name = "room"
quantity = "temperature"
uom = "Cel"
role = "ambient"
)";

inline const std::string short_plan = R"([plan]
title = "forty minutes"
[[stage]]
kind = "warm_up"
minutes = 5
[[stage]]
kind = "baseline"
minutes = 5
[[stage]]
kind = "idle_soak"
minutes = 30
counted = true
)";

/// One run that is going on.
class StoredRun {
 public:
  StoredRun(store::Store& store, const std::string& profile_text, const std::string& plan_text) : store_(store) {
    Errors errors;
    auto profile = profile::parse_profile(profile_text, "profile", errors);
    auto plan = profile::parse_plan(plan_text, "plan", errors);
    if (!profile || !plan) throw std::runtime_error(errors.front().text());
    profile_ = *profile;
    store::RunRow row;
    row.unit = "brindlecombe35";
    row.title = "Brindlecombe 35";
    row.serial = "B35-0117";
    row.profile_name = "brindlecombe35";
    row.profile_text = profile_text;
    row.plan_name = "short";
    row.plan_text = plan_text;
    row.started_utc = "2026-01-31T22:00:00.000Z";
    row.boot_id = "b00b-1e";
    row.started_by = "Imke";
    for (const auto& point : profile_.points) row.points.push_back(point.name);
    engine_ = std::make_unique<soak::Engine>(*profile, *plan, policy_);
    name_ = {store_.begin_run(row), row.unit};
    store_.append_input(name_.number, at_ms(0), record::input_kind_policy, soak::to_json_text(policy_));
  }

  void note(const std::string& kind, const std::string& json) { store_.append_event(name_.number, last_, kind, json); }
  void take(Timestamp at, const std::vector<Reading>& readings) {
    last_ = at;
    hear(engine_->take(readings));
    store_.append_readings(name_.number, at, readings);
  }
  void act(Timestamp at, const soak::Act& act) {
    last_ = at;
    hear(engine_->act(at, act));
    store_.append_input(name_.number, at, soak::to_word(act.kind), soak::to_json_text(act));
  }
  void pass(Timestamp at) { hear(engine_->advance(at)); }
  /// What the engine says of a batch is stored; the batch itself is lost with the machine.
  void lose(Timestamp at, const std::vector<Reading>& readings) {
    last_ = at;
    hear(engine_->take(readings));
  }
  std::int64_t end() {
    store_.end_run(name_.number, "2026-01-31T23:00:00.000Z");
    if (!store_.flush()) throw std::runtime_error("the store does not flush");
    return name_.number;
  }
  const soak::Engine& engine() const { return *engine_; }
  const profile::Profile& profile() const { return profile_; }

 private:
  void hear(std::span<const soak::Event> events) {
    for (const soak::Event& event : events) {
      const EventLine line = stored_words(event, profile_, name_);
      store_.append_event(name_.number, line.at, line.kind, line.json);
    }
  }
  store::Store& store_;
  profile::Profile profile_;
  soak::Policy policy_;
  std::unique_ptr<soak::Engine> engine_;
  RunName name_;
  Timestamp last_{};
};

inline std::unique_ptr<store::Store> opened(const std::string& file) {
  auto store = store::Store::open(file);
  if (!store) throw std::runtime_error(store.error().text());
  return std::move(*store);
}

/// What a meter with two decimals shows.
inline double two_decimals(double value) { return std::round(value * 100.0) / 100.0; }

/// The tubes' night: a reading of each point every five seconds, one tube above its warning for ten minutes, a clip that
/// falls, a remark, and a signature. Returns the number of the run.
inline std::int64_t store_an_evening(store::Store& store) {
  std::mt19937 random(7);
  std::normal_distribution<double> noise;
  StoredRun run(store, four_tubes, short_plan);
  run.note("wiring", R"({"meters":[{"meter":"analog_a","serial":"K-204","points":["v1_mv","b_plus"]}]})");
  for (std::int64_t second = 1; second < 75 * 60; second += 5) {
    const Timestamp at = at_ms(second * 1000 + second % 7);
    const bool is_high = second > 1200 && second < 1800;
    std::vector<Reading> readings{Reading::good(PointId{0}, at, two_decimals((is_high ? 470.0 : 380.0) + noise(random))), Reading::good(PointId{1}, at, two_decimals(452.0 + 0.3 * noise(random)))};
    if (second > 2000 && second < 2060) readings[1] = Reading::bad(PointId{1}, at, Quality::open_sensor, 3276.7);
    run.take(at, readings);
    const Timestamp later = at + Duration{200};
    run.take(later, {Reading::good(PointId{2}, later, two_decimals(230.0 + 0.2 * noise(random))), Reading::good(PointId{3}, later, static_cast<double>(215 + second / 600) * 0.1)});
    if (second == 1501) run.act(at + Duration{300}, {.kind = soak::ActKind::remark, .who = "Imke", .why = "the cat sat on the lid"});
  }
  run.act(at_ms(75 * 60 * 1000), {.kind = soak::ActKind::sign, .who = "Imke", .why = "looked at it", .word = "incomplete"});
  return run.end();
}

}  // namespace steadyglow::seal
