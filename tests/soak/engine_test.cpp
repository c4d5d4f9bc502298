#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "soak/finding_json.hpp"
#include "support/tube_amp.hpp"

namespace steadyglow::tests {
namespace {

using soak::Kind;
using soak::Severity;

/// 230 V until 23:15, then 237 V (run begins at 20:00).
double night_mains(double s) { return s < 3.25 * hours ? 230.0 + 1.5 * std::sin(s / 2400.0) : 237.0 + std::sin(s / 3100.0); }
/// Heating goes off at 22:00: 23 to 15 degC until the morning.
double cold_room(double s) { return s < 2 * hours ? 23.0 : 15.0 + 8.0 * std::exp(-(s - 2 * hours) / (2.5 * hours)); }

TEST(Engine, AHealthyNightIsSilentAndEndsWithPassProposed) {
  Night night = healthy_night();
  night.run_until(15.0 * hours);
  EXPECT_EQ(night.loud(), "");
  const auto verdicts = night.all<soak::Verdict>();
  ASSERT_EQ(verdicts.size(), 1u);
  EXPECT_EQ(verdicts[0].word, soak::VerdictWord::pass);
  EXPECT_NEAR(hours_of(night.engine.stages().counted()), 12.0, 0.02);
}

TEST(Engine, NobodyIsAlarmedByMainsSwingsAndAColdRoom) {
  Night night = healthy_night(night_mains, cold_room);
  night.run_until(15.0 * hours);
  EXPECT_EQ(night.loud(), "");
  ASSERT_TRUE(night.engine.verdict().has_value());
  EXPECT_EQ(night.engine.verdict()->word, soak::VerdictWord::pass);
}

// One tube runs: V3 = 380 mV * 2^(t / 6 min) from hour 6; the fast limit at 570 mV is met after 3.51 min.
TEST(Engine, OneTubeThatRunsAwayIsCutAtTheFastLimitAndProvenOff) {
  Night night = healthy_night(night_mains, cold_room);
  night.point("v3_mv", doubling(warming(0.0, 380.0, 300.0), 6 * hours, 6 * minutes), 1.0);
  night.run_until(8.0 * hours, 1.0);
  const auto orders = night.all<soak::OpenOutlet>();
  ASSERT_EQ(orders.size(), 1u);
  EXPECT_TRUE(orders[0].is_trip);
  const double after_start = seconds_of(orders[0].at) - 6 * hours;
  EXPECT_GT(after_start, 2.0 * minutes);
  EXPECT_LT(after_start, 3.6 * minutes);
  EXPECT_EQ(night.engine.off_state(), soak::OffWatch::State::proven);
  EXPECT_EQ(night.engine.verdict()->word, soak::VerdictWord::fail);
  for (const auto& finding : night.findings(Kind::limit)) EXPECT_EQ(night.name(finding), "v3_mv");
}

TEST(Engine, ASlowerRunawayIsSeenBeforeTheWarningLimit) {
  Night night = healthy_night();
  // Excess over 380 mV starts at 2 mV and doubles every 12 minutes.
  const Course base = warming(0.0, 380.0, 300.0);
  night.point("v3_mv", [base](double s) { return base(s) + (s > 6 * hours ? 2.0 * std::exp2((s - 6 * hours) / (12 * minutes)) : 0.0); }, 1.0);
  night.run_until(9.0 * hours);
  const auto runaways = night.findings(Kind::runaway);
  ASSERT_FALSE(runaways.empty());
  EXPECT_EQ(night.name(runaways[0]), "v3_mv");
  EXPECT_LT(*runaways[0].value, 460.0);
  EXPECT_NE(runaways[0].message.find("matched points stand still"), std::string::npos);
  ASSERT_EQ(night.all<soak::OpenOutlet>().size(), 1u);
}

TEST(Engine, ASlowDriftIsNamedWithATimeToItsLimit) {
  Night night = healthy_night(night_mains, cold_room);
  night.point("v2_mv", [](double s) { return warming(0.0, 380.0, 300.0)(s) * std::pow(night_mains(s) / 230.0, 1.5) * (1.0 + std::max(0.0, s - 5 * hours) / hours * 0.015); }, 1.0);
  night.run_until(14.0 * hours);
  const auto drifts = night.findings(Kind::drift);
  ASSERT_FALSE(drifts.empty());
  EXPECT_EQ(night.name(drifts[0]), "v2_mv");
  EXPECT_NE(drifts.back().message.find("limit 460 mV in about"), std::string::npos) << drifts.back().message;
  EXPECT_TRUE(night.all<soak::OpenOutlet>().size() <= 1);  // the plan's own end at most
}

TEST(Engine, AFallenClipIsNotAFailedTube) {
  Night night = healthy_night();
  night.point("v1_mv", stepping(warming(0.0, 380.0, 300.0), 5 * hours, 0.3), 0.2);
  night.run_until(5.0 * hours + 5 * minutes, 1.0);
  EXPECT_EQ(night.loud(), "");
  ASSERT_EQ(night.findings(Kind::sensor).size(), 1u);
  // It stays off: then somebody has to look, in the morning.
  night.run_until(5.0 * hours + 10 * minutes, 1.0);
  const auto sensors = night.findings(Kind::sensor);
  ASSERT_EQ(sensors.size(), 2u);
  EXPECT_EQ(sensors[1].severity, Severity::warn);
  EXPECT_EQ(night.name(sensors[0]), "v1_mv");
  EXPECT_TRUE(night.findings(Kind::drift).empty());
  EXPECT_TRUE(night.findings(Kind::limit).empty());
  EXPECT_EQ(night.engine.why_not_counting(), "no view of v1_mv");
}

TEST(Engine, ATubeThatReallyDiesIsAWarningBecauseTheWattsFall) {
  Night night = healthy_night();
  night.point("v1_mv", stepping(warming(0.0, 380.0, 300.0), 5 * hours, 0.3), 0.2);
  night.point("mains_w", stepping(hold(120.0), 5 * hours, 102.0), 0.3);
  night.run_until(5.0 * hours + 10 * minutes, 1.0);
  const auto limits = night.findings(Kind::limit);
  ASSERT_FALSE(limits.empty());
  EXPECT_EQ(night.name(limits[0]), "v1_mv");
}

TEST(Engine, AMissedPollIsNothing) {
  Night night = healthy_night();
  for (double s = 3 * hours; s < 6 * hours; s += 600.0) night.bad("v1_mv", Quality::no_answer, s, s + 12.0);
  night.run_until(7.0 * hours);
  EXPECT_EQ(night.loud(), "");
  EXPECT_TRUE(night.findings(Kind::no_data).empty());
}

TEST(Engine, ADeadMeterIsNotedOnceForAllItsPointsInsistedOnWhenItStaysDeadAndToldWhenItIsBack) {
  Night night = healthy_night();
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.bad(tube, Quality::no_answer, 4 * hours, 4.5 * hours);
  night.run_until(5.0 * hours);
  const auto silences = night.findings(Kind::no_data);
  ASSERT_EQ(silences.size(), 2u);
  EXPECT_EQ(silences[0].points.size(), 4u);
  EXPECT_EQ(silences[0].severity, Severity::note);
  EXPECT_EQ(silences[1].severity, Severity::warn);
  EXPECT_FALSE(night.engine.book().stands(Kind::no_data, night.engine.profile().find("v1_mv")));
}

TEST(Engine, LosingTheLastProtectivePointCutsTheUnit) {
  Night night = healthy_night();
  for (const char* point : {"v1_mv", "v2_mv", "v3_mv", "v4_mv", "transformer"}) night.bad(point, Quality::no_answer, 4 * hours, 9 * hours);
  night.run_until(4.0 * hours + 3 * minutes);
  const auto orders = night.all<soak::OpenOutlet>();
  ASSERT_EQ(orders.size(), 1u);
  EXPECT_NEAR(seconds_of(orders[0].at) - 4 * hours, 61.0, 5.0);
}

TEST(Engine, AUnitThatIsCutForWantOfSightIsIncompleteAndNotFailed) {
  Night night = healthy_night();
  for (const char* point : {"v1_mv", "v2_mv", "v3_mv", "v4_mv", "transformer"}) night.bad(point, Quality::no_answer, 4 * hours, 9 * hours);
  night.run_until(4.0 * hours + 3 * minutes);
  ASSERT_TRUE(night.engine.verdict().has_value());
  EXPECT_EQ(night.engine.verdict()->word, soak::VerdictWord::incomplete);
}

// 90 min of warm-up and baseline, then 150 min count until hour 4; the quarter of an hour of darkness does not, from its first second.
TEST(Engine, WhatASilentMeterHidTakesNoPartInTheHours) {
  Night night = healthy_night();
  night.bad("v1_mv", Quality::no_answer, 4 * hours, 4.25 * hours);
  night.run_until(4.25 * hours);
  EXPECT_NEAR(minutes_of(night.engine.stages().counted()), 150.0, 0.2);
}

// Two hours count until hour 3.5; after the mains were gone it warms up uncounted, and a meter that goes silent then takes nothing away.
TEST(Engine, ASilentMeterTakesNothingFromHoursThatCountedBefore) {
  Night night = healthy_night();
  night.point("mains_v", [](double s) { return s > 3.5 * hours && s < 3.51 * hours ? 2.0 : 230.0; }, 0.2);
  night.run_until(3.5 * hours + 2 * minutes);
  const Duration counted = night.engine.stages().counted();
  EXPECT_NEAR(minutes_of(counted), 120.0, 0.2);
  night.bad("v1_mv", Quality::no_answer, 4 * hours, 4.1 * hours);
  night.run_until(4.2 * hours);
  EXPECT_EQ(night.engine.stages().counted(), counted);
}

TEST(Engine, AGapOfARecordingIsNotCountedFromItsFirstSecond) {
  Night night = healthy_night();
  for (const auto& point : night.engine.profile().points) night.missing(point.name, 4 * hours, 5 * hours);
  night.run_until(5.0 * hours + 10.0);
  EXPECT_NEAR(minutes_of(night.engine.stages().counted()), 150.0, 0.4);
}

TEST(Engine, TheDaemonsOwnAbsenceIsBlamedOnNoMeterAndNotCounted) {
  Night night = healthy_night();
  night.run_until(4.0 * hours);
  const Duration counted = night.engine.stages().counted();
  night.hear(night.engine.resume(at_ms(static_cast<std::int64_t>(4.5 * hours) * 1000), "the daemon was not running"));
  EXPECT_EQ(night.engine.stages().counted(), counted);
  night.skip_to(4.5 * hours + 1.0);
  night.run_until(9.0 * hours);
  EXPECT_EQ(night.loud(), "");
  EXPECT_TRUE(night.findings(Kind::no_data).empty());
  // 90 min of warming up and baseline again, then it counts.
  EXPECT_NEAR(minutes_of(night.engine.stages().counted() - counted), 180.0, 2.0);
}

TEST(Engine, AGapOfTheWholeRecordingIsNotCountedAndAlarmsNobody) {
  Night night = healthy_night();
  for (const auto& point : night.engine.profile().points) night.missing(point.name, 4 * hours, 5 * hours);
  night.run_until(15.0 * hours);
  EXPECT_EQ(night.loud(), "");
  EXPECT_TRUE(night.all<soak::Verdict>().empty() || hours_of(night.engine.stages().counted()) <= 12.02);
  EXPECT_NEAR(hours_of(night.engine.stages().counted()), 12.0, 0.03);
}

TEST(Engine, ARelayThatDoesNotObeyIsToldAndOrderedAgain) {
  Night night = healthy_night();
  night.switch_off_works = false;
  night.point("v3_mv", stepping(warming(0.0, 380.0, 300.0), 5 * hours, 700.0));
  night.run_until(5.0 * hours + 2 * minutes, 1.0);
  const auto orders = night.all<soak::OpenOutlet>();
  ASSERT_GE(orders.size(), 2u);
  EXPECT_EQ(orders[1].attempt, 2);
  EXPECT_LE(seconds_of(orders[1].at) - seconds_of(orders[0].at), 4.0);
  EXPECT_EQ(night.engine.off_state(), soak::OffWatch::State::failed);
}

TEST(Engine, AfterTheMainsFailedTheUnitWarmsUpUncounted) {
  Night night = healthy_night();
  night.point("mains_v", [](double s) { return s > 4 * hours && s < 4.5 * hours ? 2.0 : 230.0; }, 0.2);
  const auto off = [](double value) { return [=](double s) { return s > 4 * hours && s < 4.5 * hours ? 0.0 : value; }; };
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, off(380.0), 1.0);
  night.point("b_plus", off(452.0), 0.3).point("mains_w", off(120.0), 0.3).point("mains_a", off(0.55), 0.002);
  night.run_until(8.0 * hours);
  EXPECT_EQ(night.loud(), "");
  EXPECT_EQ(night.findings(Kind::mains).size(), 1u);
  // 2.5 h counted before (4 h less 90 min), then 60 min warm-up and 30 min baseline uncounted: 6 h to 8 h count again.
  EXPECT_NEAR(hours_of(night.engine.stages().counted()), 4.5, 0.15);
}

TEST(Engine, ABlownFuseIsAWarningAndSilencesTheRest) {
  Night night = healthy_night();
  const auto dies = [](double value) { return stepping(hold(value), 5 * hours, 0.0); };
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, dies(380.0), 0.5);
  night.point("b_plus", dies(452.0), 0.3).point("mains_w", dies(120.0)).point("mains_a", dies(0.55));
  night.run_until(6.0 * hours);
  const auto steps = night.findings(Kind::step);
  ASSERT_EQ(steps.size(), 1u);
  EXPECT_EQ(steps[0].severity, Severity::warn);
}

// The meter comes back after a silence, and the contact that may have fallen open in it has yet to be asked.
TEST(Engine, AfterASilenceNoPowerIsTheUnitsFaultOnlyWhenTheContactCouldBeAsked) {
  Night night = healthy_night();
  const double dark = 5 * hours, light = dark + 10 * minutes;
  const auto dies = [=](double value) { return stepping(hold(value), dark, 0.0); };
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, dies(380.0), 0.5);
  night.point("b_plus", dies(452.0), 0.3).point("mains_w", dies(120.0)).point("mains_a", dies(0.55));
  for (const char* meter : {"mains_w", "mains_a"}) night.bad(meter, Quality::no_answer, dark, light);
  const auto says_no_power = [&] {
    const auto steps = night.findings(Kind::step);
    return std::any_of(steps.begin(), steps.end(), [&](const soak::Finding& finding) { return night.name(finding) == "mains_w"; });
  };
  night.run_until(light + 50.0);
  EXPECT_FALSE(says_no_power());
  night.run_until(light + 2 * minutes);
  EXPECT_TRUE(says_no_power());
}

TEST(Engine, MainsAndRoomThatNobodyReadsAnyMoreAreToldWithTheirAge) {
  Night night = healthy_night();
  night.run_until(3.0 * hours);
  EXPECT_EQ(night.engine.surroundings_now().find("ago"), std::string::npos) << night.engine.surroundings_now();
  for (const profile::Point& point : night.engine.profile().points) night.bad(point.name, Quality::no_answer, 3.0 * hours, 9.0 * hours);
  night.run_until(3.0 * hours + 10 * minutes);
  EXPECT_NE(night.engine.surroundings_now().find("min ago)"), std::string::npos) << night.engine.surroundings_now();
}

// Asked less often than silent_after: no reading of it is news after a silence.
TEST(Engine, AMeterThatIsAskedSeldomStillTellsThatThePowerIsGone) {
  Night night = healthy_night();
  const double dark = 5 * hours;
  const auto dies = [=](double value) { return stepping(hold(value), dark, 0.0); };
  for (const char* tube : {"v1_mv", "v2_mv", "v3_mv", "v4_mv"}) night.point(tube, dies(380.0), 0.5);
  night.point("b_plus", dies(452.0), 0.3).point("mains_w", dies(120.0)).point("mains_a", dies(0.55)).every("mains_w", 70.0);
  night.run_until(dark + 10 * minutes);
  const auto steps = night.findings(Kind::step);
  EXPECT_TRUE(std::any_of(steps.begin(), steps.end(), [&](const soak::Finding& finding) { return night.name(finding) == "mains_w"; }));
}

TEST(Engine, TheSameReadingsGiveTheSameEvents) {
  const auto events_of = [] {
    Night night = healthy_night(night_mains, cold_room);
    night.point("v3_mv", doubling(warming(0.0, 380.0, 300.0), 6 * hours, 20 * minutes), 1.0);
    night.run_until(7.0 * hours);
    std::string text;
    for (const auto& finding : night.all<soak::Finding>()) text += to_json(finding, night.engine.profile()).dump() + "\n";
    return text;
  };
  const std::string first = events_of();
  EXPECT_FALSE(first.empty());
  EXPECT_EQ(first, events_of());
}

TEST(Engine, TicksBetweenReadingsChangeNothing) {
  const auto events_of = [](bool with_ticks) {
    Night night = healthy_night(night_mains, cold_room);
    night.point("v3_mv", doubling(warming(0.0, 380.0, 300.0), 2 * hours, 30 * minutes), 1.0);
    for (double s = 5.0; s < 3.0 * hours; s += 5.0) {
      night.run_until(s);
      if (with_ticks) night.hear(night.engine.advance(at_ms(static_cast<std::int64_t>(s + 3.0) * 1000)));
    }
    std::string text;
    for (const auto& finding : night.all<soak::Finding>()) text += to_json(finding, night.engine.profile()).dump() + "\n";
    return text;
  };
  EXPECT_EQ(events_of(false), events_of(true));
}

TEST(Engine, AnAlarmWaitsForAPersonAlsoAfterItsConditionIsOver) {
  Night night = healthy_night();
  night.point("b_plus", [](double s) { return s > 3 * hours && s < 3.1 * hours ? 495.0 : 452.0 * (1.0 - std::exp(-(s + 10.0) / 300.0)); }, 0.3);
  night.run_until(4.0 * hours);
  ASSERT_EQ(night.engine.book().alarms().size(), 1u) << night.loud();
  const auto& record = night.engine.book().alarms().front();
  EXPECT_EQ(record.alarm.state, alarm::State::returned_unacknowledged);
  night.hear(night.engine.acknowledge(night.engine.now(), record.id, "Ada", "seen"));
  EXPECT_EQ(night.engine.book().alarms().front().alarm.state, alarm::State::normal);
}

}  // namespace
}  // namespace steadyglow::tests
