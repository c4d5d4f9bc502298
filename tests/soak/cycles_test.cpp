/// Switched off and on again by the plan: how the unit starts, and what may not switch it on.
#include <gtest/gtest.h>

#include "soak/start_watch.hpp"
#include "support/tube_amp.hpp"

namespace steadyglow::soak {
namespace {

using tests::hold;
using tests::hours;
using tests::minutes;
using tests::Night;

const std::string cold_check_plan = R"(
[plan]
title = "with a cold start at the end"
[[stage]]
kind = "warm_up"
minutes = 60
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 60
[[stage]]
kind = "cool_down"
minutes = 30
[[stage]]
kind = "final_check"
minutes = 60
)";

const std::string cycling_plan = R"(
[plan]
title = "with cycles"
[[stage]]
kind = "warm_up"
minutes = 60
[[stage]]
kind = "baseline"
minutes = 30
[[stage]]
kind = "idle_soak"
minutes = 60
[[stage]]
kind = "power_cycles"
cycles = 3
on_minutes = 20
off_minutes = 10
)";

Policy of_ada() {
  Policy policy;
  policy.set_by = "Ada";
  return policy;
}

Night amp(const std::string& plan, const Policy& policy = of_ada()) {
  Night night(tests::tube_amp, plan, policy);
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, hold(380.0), 1.0);
  night.point("b_plus", hold(452.0), 0.3).point("transformer", hold(63.0), 0.1).point("mains_v", hold(230.0), 0.2).point("mains_a", hold(0.55), 0.002).point("mains_w", hold(120.0), 0.3).point("room", hold(23.0), 0.05);
  return night;
}

Act act_of(ActKind kind) {
  Act act;
  act.kind = kind;
  act.who = "Ada";
  act.why = "because";
  return act;
}

void does(Night& night, ActKind kind) {
  const Act act = act_of(kind);
  const auto may = night.engine.why_not(act);
  ASSERT_TRUE(may) << may.error().text();
  night.hear(night.engine.act(night.engine.now(), act));
}

// ---- what may not switch it on -----------------------------------------------------------------------------------

TEST(FinalCheck, AfterACoolDownAsksForItsTurnAndDoesNotPassOnWhatItSawBefore) {
  Night night = amp(cold_check_plan);
  night.run_until(3.6 * hours);
  ASSERT_EQ(night.all<SwitchOnDue>().size(), 1u);
  EXPECT_FALSE(night.engine.verdict().has_value());
  EXPECT_TRUE(is_waiting(night.engine.power()));
  does(night, ActKind::go_on);
  night.run_until(6.0 * hours);
  ASSERT_TRUE(night.engine.verdict());
  EXPECT_EQ(night.engine.verdict()->word, VerdictWord::pass) << night.engine.verdict()->reasons.back();
  EXPECT_EQ(night.loud(), "");
}

TEST(FinalCheck, AfterACoolDownWaitsForAPersonWhenNobodyWantedItOnByItself) {
  Night night = amp(cold_check_plan, {});
  night.run_until(9.0 * hours);
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
  EXPECT_FALSE(night.engine.verdict().has_value());
  does(night, ActKind::go_on);
  EXPECT_EQ(night.engine.power(), Power::on);
}

TEST(FinalCheck, IsNotBegunBehindThePersonWhoStoppedTheCoolDown) {
  Night night = amp(cold_check_plan);
  night.run_until(2.8 * hours);
  ASSERT_EQ(night.engine.power(), Power::off_by_plan);
  does(night, ActKind::stop);
  EXPECT_TRUE(night.engine.is_over());
  night.run_until(6.0 * hours);
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
}

TEST(PowerCycles, ThatAPersonPausesWaitForThatPerson) {
  Night night = amp(cycling_plan);
  while (night.all<OpenOutlet>().empty()) night.run_until(seconds_of(night.engine.now()) + 60.0);
  does(night, ActKind::pause);
  night.run_until(8.0 * hours);
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
  EXPECT_EQ(night.engine.power(), Power::paused);
}

TEST(PowerCycles, DoNotSwitchOnWhatWasNotProvenOff) {
  Night night = amp(cycling_plan);
  night.switch_off_works = false;
  night.run_until(6.0 * hours);
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
  EXPECT_EQ(night.all<OpenBench>().size(), 1u);
}

TEST(PowerCycles, AskAgainForTheTurnThatWasLostWithTheProgram) {
  Night night = amp(cycling_plan);
  while (night.all<SwitchOnDue>().empty()) night.run_until(seconds_of(night.engine.now()) + 60.0);
  const double back_at = seconds_of(night.engine.now()) + 600.0;
  night.hear(night.engine.resume(at_ms(std::llround(1000.0 * back_at)), "the daemon was not running"));
  night.skip_to(back_at + 5.0);
  night.run_until(back_at + 60.0);
  EXPECT_EQ(night.all<SwitchOnDue>().size(), 2u);
}

// ---- just switched on --------------------------------------------------------------------------------------------

TEST(SwitchedOn, MainsBehindTheOutletAreNotGoneWhileTheContactCloses) {
  Night night = amp(cycling_plan);
  night.run_until(1.8 * hours);
  does(night, ActKind::pause);
  night.run_until(2.0 * hours);
  const double on_at = seconds_of(night.engine.now());
  night.point("mains_v", [on_at](double s) { return s >= on_at && s < on_at + 20.0 ? 0.0 : 230.0; }, 0.0);
  does(night, ActKind::go_on);
  night.run_until(2.2 * hours);
  EXPECT_EQ(night.engine.power(), Power::on);
  EXPECT_TRUE(night.findings(Kind::mains).empty());
}

TEST(SwitchedOn, AUnitThatDoesNotStartIsToldSo) {
  Night night = amp(cycling_plan);
  night.run_until(1.8 * hours);
  does(night, ActKind::pause);
  night.run_until(2.0 * hours);
  night.point("mains_w", hold(2.0), 0.02);
  does(night, ActKind::go_on);
  night.run_until(2.5 * hours);
  EXPECT_NE(night.loud().find("standby, not running"), std::string::npos) << night.loud();
  EXPECT_EQ(night.engine.why_not_counting(), "the unit draws no power");
}

// ---- the start itself --------------------------------------------------------------------------------------------

/// The unit with a B+ that comes up with this time constant, read every second; W are drawn at once.
Start start_with(const profile::Profile& profile, double tau_s, double inrush_watts = 120.0) {
  StartWatch watch(profile);
  watch.begin(at_ms(0));
  std::optional<Start> start;
  for (int s = 1; !start && s < 400; ++s) {
    const auto give = [&](const char* name, double value) {
      if (auto seen = watch.take(Reading::good(*profile.find(name), at_ms(1000 * s), value))) start = std::move(seen);
    };
    give("b_plus", 452.0 * (1.0 - std::exp(-s / tau_s)));
    give("mains_w", s < 3 ? inrush_watts : 120.0);
  }
  return start.value();
}

// 1 - exp(-t/tau) is 0.9 at t = tau ln 10 = 2.303 tau (own arithmetic).
TEST(Start, TellsWhenNinetyPercentAreThere) {
  const auto profile = tests::profile_of(tests::tube_amp);
  const Start start = start_with(profile, 20.0, 180.0);
  ASSERT_EQ(start.points.size(), 2u);
  EXPECT_NEAR(seconds_of(start.points[0].reached), 46.05, 1.0);
  EXPECT_NEAR(start.points[0].steady, 452.0, 0.1);
  EXPECT_EQ(start.peak, 180.0);
}

TEST(Start, IsComparedInItsTimeAndItsPeak) {
  const auto profile = tests::profile_of(tests::tube_amp);
  const StartWatch watch(profile);
  const Start first = start_with(profile, 20.0, 180.0);
  EXPECT_EQ(watch.difference(start_with(profile, 21.0, 190.0), first), "");
  EXPECT_NE(watch.difference(start_with(profile, 24.0, 180.0), first).find("b_plus stands after 56 s, the first time after 47 s"), std::string::npos) << watch.difference(start_with(profile, 24.0, 180.0), first);
  EXPECT_NE(watch.difference(start_with(profile, 20.0, 210.0), first).find("at most 210"), std::string::npos);
}

TEST(Start, ThatWasHardlyReadSaysNothing) {
  const auto profile = tests::profile_of(tests::tube_amp);
  StartWatch watch(profile);
  watch.begin(at_ms(0));
  EXPECT_FALSE(watch.take(Reading::good(*profile.find("b_plus"), at_ms(200000), 452.0)));
  EXPECT_FALSE(watch.take(Reading::good(*profile.find("b_plus"), at_ms(400000), 452.0)));
}

}  // namespace
}  // namespace steadyglow::soak
