/// What somebody does to a run, and the cuts that are no limit of a reading.
#include <gtest/gtest.h>

#include "soak/act.hpp"
#include "soak/policy.hpp"
#include "support/tube_amp.hpp"

namespace steadyglow::soak {
namespace {

using tests::healthy_night;
using tests::hold;
using tests::hours;
using tests::minutes;
using tests::Night;
using tests::stepping;
using tests::warming;

Act act_of(ActKind kind, const std::string& who = "Ada", const std::string& why = "because") {
  Act act;
  act.kind = kind;
  act.who = who;
  act.why = why;
  return act;
}

void does(Night& night, const Act& act) {
  const auto may = night.engine.why_not(act);
  ASSERT_TRUE(may) << may.error().text();
  night.hear(night.engine.act(night.engine.now(), act));
}

Policy leaving(AfterMains after, double back_at_s = 12.0 * hours) {
  Policy policy;
  policy.set_by = "Ada";
  policy.is_unattended = true;
  policy.after_mains = after;
  policy.on_forecast = OnForecast::cut;
  policy.person_back_at = at_ms(static_cast<std::int64_t>(back_at_s * 1000.0));
  return policy;
}

// ---- JSON ------------------------------------------------------------------------------------------------------

TEST(Acts, AreTheSameAfterTheirJson) {
  Act act = act_of(ActKind::touch);
  act.points = {"v3_mv"};
  act.control = "bias trimmer V3";
  act.before = 440.0;
  act.after = 380.0;
  const auto again = act_from_json(to_word(act.kind), to_json_text(act));
  ASSERT_TRUE(again) << again.error().text();
  EXPECT_EQ(to_json_text(*again), to_json_text(act));
}

TEST(Acts, WithAnUnknownFieldAreRefused) { EXPECT_FALSE(act_from_json("pause", R"({"who":"Ada","alarm":3})")); }
TEST(Acts, ThatNobodyKnowsAreRefused) { EXPECT_FALSE(act_from_json("levitate", R"({"who":"Ada"})")); }
TEST(Acts, ThatPutAnAlarmAsideNeedATimeAndAReason) {
  EXPECT_FALSE(act_from_json("shelve", R"({"who":"Ada","alarm":3,"why":"known"})"));
  EXPECT_FALSE(act_from_json("shelve", R"({"who":"Ada","alarm":3,"minutes":30})"));
  EXPECT_FALSE(act_from_json("shelve", R"({"who":"Ada","alarm":3,"minutes":100000,"why":"known"})"));
  EXPECT_TRUE(act_from_json("shelve", R"({"who":"Ada","alarm":3,"minutes":30,"why":"known"})"));
}
TEST(Policies, AreTheSameAfterTheirJson) {
  const Policy policy = leaving(AfterMains::staged);
  const auto again = policy_from_json(to_json_text(policy));
  ASSERT_TRUE(again) << again.error().text();
  EXPECT_EQ(to_json_text(*again), to_json_text(policy));
  EXPECT_FALSE(policy_from_json(R"({"after_mains":"always"})"));
}

// ---- off and on ------------------------------------------------------------------------------------------------

TEST(Pause, OpensTheOutletKeepsTheRunAndCountsNothing) {
  Night night = healthy_night();
  night.run_until(3.0 * hours);
  const Duration counted = night.engine.stages().counted();
  does(night, act_of(ActKind::pause));
  EXPECT_EQ(night.engine.power(), Power::paused);
  ASSERT_EQ(night.all<OpenOutlet>().size(), 1u);
  EXPECT_FALSE(night.all<OpenOutlet>()[0].is_trip);
  night.run_until(3.5 * hours);
  EXPECT_EQ(night.engine.stages().counted(), counted);
  EXPECT_FALSE(night.engine.is_over());
  EXPECT_EQ(night.engine.off_state(), OffWatch::State::proven);
  EXPECT_EQ(night.loud(), "");
}

TEST(GoOn, IsRefusedWhileTheUnitIsOn) { EXPECT_FALSE(healthy_night().engine.why_not(act_of(ActKind::go_on))); }

TEST(GoOn, AfterALongPauseWarmsUpAgainUncounted) {
  Night night = healthy_night();
  night.run_until(3.0 * hours);
  does(night, act_of(ActKind::pause));
  night.run_until(4.0 * hours);
  const Duration counted = night.engine.stages().counted();
  does(night, act_of(ActKind::go_on));
  ASSERT_EQ(night.all<CloseOutlet>().size(), 1u);
  EXPECT_EQ(night.all<CloseOutlet>()[0].who, "Ada");
  night.run_until(5.4 * hours);
  EXPECT_EQ(night.engine.stages().counted(), counted) << "warm-up and baseline";
  night.run_until(7.0 * hours);
  EXPECT_GT(night.engine.stages().counted(), counted + std::chrono::minutes{60});
  ASSERT_EQ(night.engine.interruptions().size(), 1u);
  EXPECT_TRUE(night.engine.interruptions()[0].is_planned);
  EXPECT_NEAR(seconds_of(*night.engine.interruptions()[0].to - night.engine.interruptions()[0].from), 3600.0, 10.0);
  EXPECT_EQ(night.loud(), "");
}

TEST(Interruption, OfADaemonThatComesBackIntoTheSameDarkIsOne) {
  Night night = healthy_night();
  night.run_until(4.0 * hours);
  night.hear(night.engine.resume(at_ms(std::llround(4.4 * hours * 1000.0)), "the daemon was not running for 24 min"));
  does(night, act_of(ActKind::relay_open, "steadyglowd", "the unit's relay was found open"));
  ASSERT_EQ(night.engine.interruptions().size(), 1u);
  const Interruption& gap = night.engine.interruptions()[0];
  EXPECT_NEAR(seconds_of(gap.from), 4.0 * hours, 2.0);
  EXPECT_FALSE(gap.to);
  EXPECT_EQ(gap.why, "the daemon was not running for 24 min; the unit's relay was found open");
}

TEST(Interruption, ThatBeginsAfterTheUnitWasSeenAgainIsAnother) {
  Night night = healthy_night();
  night.run_until(4.0 * hours);
  night.hear(night.engine.resume(at_ms(std::llround(4.4 * hours * 1000.0)), "the daemon was not running for 24 min"));
  night.skip_to(4.4 * hours + 1.0);
  night.run_until(4.5 * hours);
  does(night, act_of(ActKind::relay_open, "steadyglowd", "the unit's relay was found open"));
  EXPECT_EQ(night.engine.interruptions().size(), 2u);
}

TEST(GoOn, AfterAShortPauseCountsAgainSooner) {
  const auto counted_after = [](double pause_minutes) {
    Night night = healthy_night();
    night.run_until(3.0 * hours);
    does(night, act_of(ActKind::pause));
    night.run_until(3.0 * hours + pause_minutes * minutes);
    does(night, act_of(ActKind::go_on));
    night.run_until(6.0 * hours);
    EXPECT_EQ(night.loud(), "");
    return night.engine.stages().counted();
  };
  EXPECT_GT(counted_after(5.0), counted_after(20.0) + std::chrono::minutes{20});
}

TEST(Collateral, IsAnInterruptionAndNoFailure) {
  Night night = healthy_night();
  night.run_until(3.0 * hours);
  does(night, act_of(ActKind::bench_opened, "steadyglowd", "another unit's relay has welded"));
  EXPECT_EQ(night.engine.power(), Power::bench_open);
  EXPECT_FALSE(night.engine.verdict().has_value());
  EXPECT_FALSE(night.engine.is_over());
  EXPECT_EQ(night.loud(), "");
}

TEST(Stop, OfAPausedRunEndsIt) {
  Night night = healthy_night();
  night.run_until(3.0 * hours);
  does(night, act_of(ActKind::pause));
  does(night, act_of(ActKind::stop));
  EXPECT_TRUE(night.engine.is_over());
  EXPECT_EQ(night.engine.verdict()->word, VerdictWord::incomplete);
}

// ---- the supply is lost ----------------------------------------------------------------------------------------

Night with_lost_mains(AfterMains after) {
  const auto mains = [](double s) { return s >= 4 * hours && s < 4.75 * hours ? 0.0 : 230.0; };
  Night night = healthy_night(mains, hold(23.0), leaving(after));
  night.run_until(4.0 * hours + 2 * minutes);
  return night;
}

TEST(LostSupply, OrdersTheOutletOffSoThatNothingComesBackByItself) {
  Night night = with_lost_mains(AfterMains::stay_off);
  EXPECT_EQ(night.engine.power(), Power::lost);
  ASSERT_EQ(night.all<OpenOutlet>().size(), 1u);
  EXPECT_FALSE(night.all<OpenOutlet>()[0].is_trip) << "no interlock";
  night.run_until(8.0 * hours);
  EXPECT_EQ(night.engine.power(), Power::lost);
  EXPECT_TRUE(night.all<CloseOutlet>().empty());
}

TEST(LostSupply, WithoutAPolicyForItWaitsForAPersonWhenTheMainsAreSteady) {
  Night night = with_lost_mains(AfterMains::stay_off);
  night.run_until(5.0 * hours);
  does(night, act_of(ActKind::supply_steady, "steadyglowd"));
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
}

TEST(LostSupply, UnderTheStagedPolicyAsksForItsTurnOnce) {
  Night night = with_lost_mains(AfterMains::staged);
  night.run_until(5.0 * hours);
  does(night, act_of(ActKind::supply_steady, "steadyglowd"));
  does(night, act_of(ActKind::supply_steady, "steadyglowd"));
  ASSERT_EQ(night.all<SwitchOnDue>().size(), 1u);
  EXPECT_EQ(night.all<SwitchOnDue>()[0].who, "Ada");
  EXPECT_EQ(night.engine.power(), Power::lost) << "not before its turn has come";
  does(night, act_of(ActKind::go_on, "Ada", "its turn"));
  EXPECT_EQ(night.engine.power(), Power::on);
  night.run_until(9.0 * hours);
  EXPECT_GT(night.engine.stages().counted(), std::chrono::hours{4});
}

TEST(LostSupply, ThatFoundTheUnitUnwellIsForAPerson) {
  const auto mains = [](double s) { return s >= 5 * hours && s < 5.75 * hours ? 0.0 : 230.0; };
  Night night = healthy_night(mains, hold(23.0), leaving(AfterMains::staged));
  night.point("v1_mv", stepping(warming(0.0, 380.0, 300.0), 4 * hours, 480.0), 1.0);  // above its warning limit
  night.run_until(5.1 * hours);
  EXPECT_EQ(night.engine.power(), Power::lost);
  does(night, act_of(ActKind::supply_steady, "steadyglowd"));
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
}

TEST(LostSupply, OfTheWholeBenchIsNoBlindness) {
  Night night = healthy_night(hold(230.0), hold(23.0), leaving(AfterMains::staged));
  for (const auto& point : night.engine.profile().points) night.bad(point.name, Quality::no_answer, 4 * hours, 4.75 * hours);
  night.run_until(4.2 * hours);
  EXPECT_EQ(night.engine.power(), Power::lost);
  EXPECT_FALSE(night.engine.verdict().has_value());
}

TEST(Interruptions, AreCountedAndTooManyMakeItIncomplete) {
  Night night = healthy_night();
  for (int i = 0; i < 4; ++i) {
    night.run_until((2.0 + i) * hours);
    does(night, act_of(ActKind::relay_open, "steadyglowd", "the relay was found open"));
    night.run_until((2.0 + i) * hours + 5 * minutes);
    does(night, act_of(ActKind::go_on));
  }
  night.run_until(22.0 * hours);
  ASSERT_TRUE(night.engine.verdict());
  EXPECT_EQ(night.engine.verdict()->word, VerdictWord::incomplete);
}

// ---- a screwdriver ---------------------------------------------------------------------------------------------

Act trim(double before, double after) {
  Act act = act_of(ActKind::touch);
  act.points = {"v3_mv"};
  act.control = "bias trimmer V3";
  act.before = before;
  act.after = after;
  return act;
}

TEST(Trim, BeginsASegmentOfItsPointsAndTheOthersKeepTheirHours) {
  Night night = healthy_night();
  night.point("v3_mv", stepping(warming(0.0, 380.0, 300.0), 4 * hours, 360.0), 1.0);
  night.run_until(4.0 * hours);
  does(night, trim(380.0, 360.0));
  night.run_until(10.0 * hours);
  EXPECT_EQ(night.loud(), "") << "what a person did is no finding";
  const auto id = *night.engine.profile().find("v3_mv");
  const auto other = *night.engine.profile().find("v1_mv");
  EXPECT_LT(night.engine.counted(id), night.engine.counted(other));
  ASSERT_EQ(night.engine.segments().size(), 1u);
  EXPECT_NE(night.engine.segments()[0].why.find("-5.3 %"), std::string::npos) << night.engine.segments()[0].why;
  ASSERT_TRUE(night.engine.points()[id.index].baseline());
  EXPECT_NEAR(night.engine.points()[id.index].baseline()->raw_level, 360.0, 2.0);
}

TEST(Trim, OfMoreThanATenthMakesTheLastSoakWaitForItsHours) {
  Night night = healthy_night();
  night.point("v3_mv", stepping(warming(0.0, 440.0, 300.0), 6 * hours, 380.0), 1.0);
  night.run_until(6.0 * hours);
  does(night, trim(440.0, 380.0));
  night.run_until(14.5 * hours);
  EXPECT_FALSE(night.engine.verdict().has_value()) << "the planned twelve hours count from the trim";
  night.run_until(20.0 * hours);
  ASSERT_TRUE(night.engine.verdict());
}

TEST(Trim, SettlesForAnHourBeforeItsNewBaselineAndCountsFromThere) {
  Night night = healthy_night();
  night.point("v3_mv", [](double s) { return s < 9 * hours ? warming(0.0, 380.0, 300.0)(s) : 360.0 - 6.0 * std::exp(-(s - 9 * hours) / 600.0); }, 1.0);
  night.run_until(9.0 * hours);
  does(night, trim(380.0, 360.0));
  const auto id = *night.engine.profile().find("v3_mv");
  night.run_until(9.9 * hours);
  EXPECT_FALSE(night.engine.points()[id.index].baseline()) << "it is still settling";
  EXPECT_LT(night.engine.counted(id), std::chrono::minutes{2}) << "and does not count yet";
  night.run_until(10.2 * hours);
  ASSERT_TRUE(night.engine.points()[id.index].baseline());
  EXPECT_NEAR(night.engine.points()[id.index].baseline()->raw_level, 360.0, 1.0);
  const auto other = *night.engine.profile().find("v1_mv");
  EXPECT_GT(night.engine.counted(other), std::chrono::hours{8});
  EXPECT_EQ(night.loud(), "");
}

TEST(Trim, WhoseFiguresNobodyTypedIsMeasured) {
  Night night = healthy_night();
  night.point("v3_mv", stepping(warming(0.0, 440.0, 300.0), 6 * hours, 380.0), 1.0);
  night.run_until(6.0 * hours);
  Act act = act_of(ActKind::touch);
  act.points = {"v3_mv"};
  act.control = "bias trimmer V3";
  does(night, act);
  night.run_until(14.5 * hours);
  EXPECT_FALSE(night.engine.verdict().has_value()) << "the planned twelve hours count from the trim";
}

TEST(Verdict, SaysThatAProtectivePointWasAwayForMoreThanATwentieth) {
  const auto word_after = [](double dark_minutes) {
    Night night = healthy_night();
    night.bad("v1_mv", Quality::no_answer, 4 * hours, 4 * hours + dark_minutes * minutes);
    night.run_until(18.0 * hours);
    std::string text(to_word(night.engine.verdict().value().word));
    for (const std::string& reason : night.engine.verdict()->reasons) text += "; " + reason;
    return text;
  };
  EXPECT_EQ(word_after(30.0).find("were seen for"), std::string::npos) << word_after(30.0);
  EXPECT_NE(word_after(60.0).find("pass_with_remarks"), std::string::npos) << word_after(60.0);
  EXPECT_NE(word_after(60.0).find("were seen for 92 %"), std::string::npos) << word_after(60.0);
  EXPECT_NE(word_after(200.0).find("incomplete"), std::string::npos) << word_after(200.0);
}

TEST(Verdict, SaysThatASlopeWouldMeetALimitWithinAMonth) {
  Night night = healthy_night();
  // 1.2 mV an hour: at its end it stands at about 394 mV, and 460 mV are 55 h away.
  night.point("v2_mv", [](double s) { return warming(0.0, 380.0, 300.0)(s) + 1.2 * std::max(0.0, s - 2 * hours) / hours; }, 0.3);
  night.run_until(16.0 * hours);
  ASSERT_TRUE(night.engine.verdict());
  std::string reasons;
  for (const std::string& reason : night.engine.verdict()->reasons) reasons += reason + "\n";
  EXPECT_NE(reasons.find("v2_mv still goes"), std::string::npos) << reasons << night.loud();
  EXPECT_NE(night.engine.verdict()->word, VerdictWord::pass);
}

TEST(ReplacedPart, StartsTheUnitsHoursAgain) {
  Night night = healthy_night();
  night.run_until(6.0 * hours);
  EXPECT_GT(night.engine.stages().counted(), std::chrono::hours{4});
  Act act = act_of(ActKind::replace_part);
  act.control = "V3";
  does(night, act_of(ActKind::pause));
  does(night, act);
  EXPECT_EQ(night.engine.stages().counted(), Duration{});
  does(night, act_of(ActKind::go_on));
  night.run_until(7.0 * hours);
  EXPECT_EQ(night.engine.stages().counted(), Duration{});
}

TEST(ReplacedPart, IsNotSaidOfAUnitThatIsOn) {
  Night night = healthy_night();
  night.run_until(1.0 * hours);
  Act act = act_of(ActKind::replace_part);
  act.control = "V3";
  for (const ActKind kind : {ActKind::replace_part, ActKind::move}) {
    act.kind = kind;
    const auto may = night.engine.why_not(act);
    ASSERT_FALSE(may);
    EXPECT_NE(may.error().hint.find("pull its plug"), std::string::npos);
  }
  does(night, act_of(ActKind::pause));
  EXPECT_TRUE(night.engine.why_not(act));
}

TEST(Signature, NeedsAVerdict) {
  Night night = healthy_night();
  night.run_until(1.0 * hours);
  Act act = act_of(ActKind::sign);
  act.word = "pass";
  EXPECT_FALSE(night.engine.why_not(act));
  night.run_until(15.0 * hours);
  does(night, act);
  ASSERT_TRUE(night.engine.signature());
  EXPECT_EQ(night.engine.signature()->who, "Ada");
}

// ---- power cycles ----------------------------------------------------------------------------------------------

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
cycles = 2
on_minutes = 20
off_minutes = 10
[[stage]]
kind = "final_check"
minutes = 30
)";

/// Plays the plan; the bench gives every turn at once.
Night cycled(const Policy& policy, const std::function<void(Night&)>& change = [](Night&) {}) {
  Night night(tests::tube_amp, cycling_plan, policy);
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, hold(380.0), 1.0);
  night.point("b_plus", hold(452.0), 0.3).point("transformer", hold(63.0), 0.1).point("mains_v", hold(230.0), 0.2).point("mains_a", hold(0.55), 0.002).point("mains_w", hold(120.0), 0.3).point("room", hold(23.0), 0.05);
  change(night);
  std::size_t turns = 0;
  for (double s = 60.0; s < 8 * hours; s += 60.0) {
    night.run_until(s);
    const auto due = night.all<SwitchOnDue>();
    if (due.size() == turns) continue;
    ++turns;
    does(night, act_of(ActKind::go_on, due.back().who, due.back().reason));
  }
  return night;
}

TEST(PowerCycles, SwitchOffAndOnAgainAsThePlanSays) {
  const Night night = cycled(leaving(AfterMains::stay_off, 100.0 * hours));
  EXPECT_EQ(night.all<SwitchOnDue>().size(), 2u);
  EXPECT_EQ(night.engine.interruptions().size(), 2u);
  for (const Interruption& gap : night.engine.interruptions()) {
    EXPECT_TRUE(gap.is_planned);
    EXPECT_NEAR(minutes_of(*gap.to - gap.from), 10.0, 1.1);
  }
  ASSERT_TRUE(night.engine.verdict());
  EXPECT_EQ(night.engine.verdict()->word, VerdictWord::pass) << night.engine.verdict()->reasons.back();
}

TEST(PowerCycles, CompareEveryStartWithTheFirst) {
  const Night night = cycled(leaving(AfterMains::stay_off, 100.0 * hours));
  const auto starts = night.all<StartUp>();
  ASSERT_EQ(starts.size(), 3u);
  for (const StartUp& start : starts) EXPECT_TRUE(start.is_like_the_first) << start.text;
}

TEST(PowerCycles, WarnOfAStartThatIsAnother) {
  const Night night = cycled(leaving(AfterMains::stay_off, 100.0 * hours), [](Night& n) { n.point("mains_w", [](double s) { return s > 3.3 * hours ? 145.0 : 120.0; }, 0.3); });
  const auto starts = night.all<StartUp>();
  EXPECT_TRUE(std::any_of(starts.begin(), starts.end(), [](const StartUp& start) { return !start.is_like_the_first; }));
  EXPECT_NE(night.loud().find("starts otherwise"), std::string::npos) << night.loud();
}

TEST(PowerCycles, WithoutAPersonWhoWantsThemAreLeftOut) {
  const Night night = cycled({});
  EXPECT_TRUE(night.all<SwitchOnDue>().empty());
  EXPECT_TRUE(night.engine.verdict().has_value());
}

TEST(FinalCheck, NamesThePointThatDidNotComeBack) {
  const Night night = cycled(leaving(AfterMains::stay_off, 100.0 * hours), [](Night& n) { n.point("v2_mv", [](double s) { return s > 3.3 * hours ? 352.0 : 380.0; }, 1.0); });
  EXPECT_NE(night.loud().find("final check: v2_mv"), std::string::npos) << night.loud();
}

// ---- alarms ----------------------------------------------------------------------------------------------------

Night with_a_warning() {
  Night night = healthy_night();
  night.point("v1_mv", stepping(warming(0.0, 380.0, 300.0), 4 * hours, 480.0), 1.0);
  night.run_until(4.2 * hours);
  return night;
}

TEST(Shelf, PutsAnAlarmAsideForATimeAndNoLonger) {
  Night night = with_a_warning();
  ASSERT_FALSE(night.engine.book().alarms().empty());
  Act act = act_of(ActKind::shelve);
  act.alarm = night.engine.book().alarms().front().id;
  act.minutes = 30.0;
  does(night, act);
  EXPECT_EQ(night.engine.book().alarms().front().alarm.state, alarm::State::shelved);
  night.run_until(4.2 * hours + 29 * minutes);
  EXPECT_EQ(night.engine.book().alarms().front().alarm.state, alarm::State::shelved);
  night.run_until(4.2 * hours + 31 * minutes);
  EXPECT_EQ(night.engine.book().alarms().front().alarm.state, alarm::State::unacknowledged);
}

TEST(Transitions, KeepWhoAndWhy) {
  Night night = with_a_warning();
  Act act = act_of(ActKind::acknowledge, "Ada", "I know this one");
  act.alarm = night.engine.book().alarms().front().id;
  does(night, act);
  const AlarmRecord record = night.all<AlarmRecord>().back();
  EXPECT_EQ(record.changed_by, "Ada");
  EXPECT_EQ(record.why, "I know this one");
  EXPECT_FALSE(night.engine.why_not(act)) << "twice is once too often";
}

TEST(Priorities, FollowFromWhatAPersonCanDo) {
  Night night = with_a_warning();
  EXPECT_EQ(night.engine.book().alarms().front().priority, alarm::Priority::low);
  night.point("v2_mv", stepping(warming(0.0, 380.0, 300.0), 4.3 * hours, 600.0), 1.0);
  night.run_until(4.4 * hours);
  ASSERT_EQ(night.engine.power(), Power::tripped);
  EXPECT_EQ(night.engine.book().alarms().back().priority, alarm::Priority::high);
}

// ---- the cut ---------------------------------------------------------------------------------------------------

TEST(WeldedRelay, CostsTheBenchItsContactorFourSecondsAfterTheOrder) {
  Night night = healthy_night();
  night.switch_off_works = false;
  night.point("v1_mv", stepping(warming(0.0, 380.0, 300.0), 4 * hours, 600.0), 1.0);
  night.run_until(4.0 * hours - 10.0);
  night.run_until(4.0 * hours + 60.0, 0.5);
  const auto orders = night.all<OpenOutlet>();
  const auto benches = night.all<OpenBench>();
  ASSERT_EQ(orders.size(), 2u);
  ASSERT_EQ(benches.size(), 1u);
  EXPECT_NEAR(seconds_of(orders[1].at - orders[0].at), 2.0, 0.6);
  EXPECT_NEAR(seconds_of(benches[0].at - orders[0].at), 4.0, 0.6);
  const auto is_highest = [](const AlarmRecord& record) { return record.priority == alarm::Priority::highest; };
  const auto& alarms = night.engine.book().alarms();
  EXPECT_EQ(std::count_if(alarms.begin(), alarms.end(), is_highest), 1);
}

TEST(BleedDown, IsToldWhenTheSupplyIsBelowFiftyVolts) {
  Night night = healthy_night();
  night.run_until(3.0 * hours);
  does(night, act_of(ActKind::stop));
  night.run_until(3.2 * hours);
  const auto told = night.all<BleedDown>();
  ASSERT_EQ(told.size(), 1u);
  EXPECT_TRUE(told[0].is_safe);
  EXPECT_NE(night.engine.bleed_text().find("measure before you touch"), std::string::npos);
  EXPECT_EQ(night.loud(), "");
}

TEST(BleedDown, ThatTakesTooLongIsAWarning) {
  Night night = healthy_night();
  night.bleed_tau_seconds = 600.0;
  night.run_until(3.0 * hours);
  does(night, act_of(ActKind::stop));
  night.run_until(3.2 * hours);
  EXPECT_NE(night.loud().find("its bleeder may be open"), std::string::npos);
}

TEST(Forecast, OfALimitBeforeThePersonIsBackCutsAtThePlannedShare) {
  const auto drifting = [](double s) { return warming(0.0, 380.0, 300.0)(s) + std::max(0.0, s - 4 * hours) / hours * 41.7; };
  const auto cut_at = [&](Policy policy, double until) {
    Night night = healthy_night(hold(230.0), hold(23.0), policy);
    for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, drifting, 1.0);
    night.run_until(until);
    EXPECT_EQ(night.engine.power(), Power::tripped);
    for (const AlarmRecord& record : night.engine.book().alarms())
      if (record.finding.severity == Severity::trip && policy.on_forecast == OnForecast::cut) {
        EXPECT_EQ(record.priority, alarm::Priority::medium);
      }
    return night.all<OpenOutlet>().at(0);
  };
  const OpenOutlet planned = cut_at(leaving(AfterMains::stay_off), 11.0 * hours);
  Policy tells = leaving(AfterMains::stay_off);
  tells.on_forecast = OnForecast::tell;
  const OpenOutlet by_limit = cut_at(tells, 11.0 * hours);
  EXPECT_NE(planned.reason.find("cut as planned"), std::string::npos) << planned.reason;
  EXPECT_LT(planned.at + std::chrono::minutes{20}, by_limit.at);
}

TEST(Forecast, OfALimitAfterThePersonIsBackCutsNothing) {
  const auto drifting = [](double s) { return warming(0.0, 380.0, 300.0)(s) + std::max(0.0, s - 4 * hours) / hours * 8.0; };
  Night night = healthy_night(hold(230.0), hold(23.0), leaving(AfterMains::stay_off, 9.0 * hours));
  night.point("v1_mv", drifting, 1.0);
  night.run_until(9.0 * hours);
  EXPECT_EQ(night.engine.power(), Power::on);
}

TEST(RunLife, FedAgainGivesTheSame) {
  const auto played = [] {
    Night night = healthy_night(hold(230.0), hold(23.0), leaving(AfterMains::staged));
    night.run_until(3.0 * hours);
    does(night, act_of(ActKind::pause));
    night.run_until(3.3 * hours);
    does(night, act_of(ActKind::go_on));
    night.run_until(6.0 * hours);
    does(night, trim(380.0, 370.0));
    night.run_until(9.0 * hours);
    std::string text = std::to_string(night.engine.stages().counted().count()) + night.engine.why_not_counting();
    for (const auto& segment : night.engine.segments()) text += segment.why;
    return text + std::to_string(night.events.size());
  };
  EXPECT_EQ(played(), played());
}

}  // namespace
}  // namespace steadyglow::soak
