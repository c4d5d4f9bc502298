#include <gtest/gtest.h>

#include <cmath>

#include "record/sample_pages.hpp"
#include "record/stored_run.hpp"
#include "record/wiring.hpp"

using namespace steadyglow;
using namespace steadyglow::record_test;

namespace {

constexpr double hour = 3600.0;

const Sample& the_four() {
  static const Sample sample = four_points();
  return sample;
}
const Sample& the_gaps() {
  static const Sample sample = gaps_and_trims();
  return sample;
}
const Sample& the_failed() {
  static const Sample sample = failed();
  return sample;
}

}  // namespace

TEST(RunFigures, CountsWhatTheEngineCounted) { EXPECT_EQ(the_four().figures->counted, the_four().run->engine().stages().counted()); }

TEST(RunFigures, MinutesThatCountAddUpToTheCountedHours) {
  const auto& figures = *the_four().figures;
  const auto minutes = std::count(figures.minute_counts.begin(), figures.minute_counts.end(), true);
  EXPECT_NEAR(static_cast<double>(minutes) / 60.0, hours_of(figures.counted), 2.0 / 60.0);
}

TEST(RunFigures, TheEndFigureIsTheMeanOfTheLastHourThatCounted) {
  const auto* point = the_four().figures->find("v1_cathode_mv");
  ASSERT_TRUE(point->end);
  // The course that the sample was made with, half an hour before the plan was done.
  const double middle = seconds_of(point->end->from) + 0.5 * seconds_of(point->end->to - point->end->from);
  EXPECT_NEAR(point->end->mean, 381.0 + 4.0 * std::sin(middle / 11000.0), 0.15);
}

TEST(RunFigures, ASlopeIsFoundWithinItsInterval) {
  StoredRun run(small_amp(), day_plan);
  play_small_amp(run);
  run.point("mains_v", tests::hold(230.0)).point("v1_cathode_mv", [](double s) { return 380.0 * (1.0 - 0.98 * std::exp(-s / 40.0)) + 0.5 * s / hour; }, 0.4);
  run.run_until(16.0 * hour);
  const auto figures = run.figures();
  ASSERT_TRUE(figures) << figures.error().text();
  const auto slope = figures->find("v1_cathode_mv")->slope;
  ASSERT_TRUE(slope);
  EXPECT_LE(slope->low, 0.5);
  EXPECT_GE(slope->high, 0.5);
  EXPECT_TRUE(slope->is_significant);
}

TEST(RunFigures, ATrimBeginsTheStartFigureAnew) {
  const auto* point = the_gaps().figures->find("v1_cathode_mv");
  ASSERT_TRUE(point->start);
  ASSERT_TRUE(point->first_start);
  EXPECT_NEAR(point->first_start->mean, 385.0, 4.0);
  EXPECT_NEAR(point->start->mean, 372.0, 4.0);
}

TEST(RunFigures, EveryGapIsToldWithItsReason) {
  std::size_t gaps = 0;
  for (const auto& point : the_gaps().figures->points) gaps += point.gaps.size();
  EXPECT_EQ(gaps, 6u);
  EXPECT_EQ(the_gaps().figures->find("power_transformer_c")->gaps.front().why, "open sensor");
}

TEST(RunFigures, WhatWasOffIsNoGap) {
  const auto& figures = *the_gaps().figures;
  for (const auto& point : figures.points)
    for (const auto& gap : point.gaps) EXPECT_FALSE(gap.from < at_ms(60'480'000) && gap.to > at_ms(57'660'000)) << point.point.name;
}

TEST(RunFigures, TheReadingThatCutTheUnitIsInItsFigures) {
  double most = 0.0;
  for (const auto& minute : the_failed().figures->find("v2_cathode_mv")->minutes) most = std::max(most, minute.max);
  EXPECT_GT(most, 554.0);
}

TEST(RunFigures, ATimeConstantComesOutAsItWasPutIn) {
  const auto thermal = the_gaps().figures->find("power_transformer_c")->thermal;
  ASSERT_TRUE(thermal);
  ASSERT_TRUE(thermal->tau_minutes);
  EXPECT_NEAR(*thermal->tau_minutes, 60.0, 3.0);
  ASSERT_TRUE(thermal->kelvin_per_watt);
  EXPECT_NEAR(*thermal->kelvin_per_watt, 34.0 / 126.0, 0.01);
}

TEST(RunFigures, UncertaintyIsThatOfTheMetersStatement) {
  // 0.5 % of 380 mV and 3 counts of 0.1 mV: a = 2.2 mV, rectangular, k = 2 (GUM 4.3.7): 2 x 2.2 / sqrt(3).
  const auto* point = the_gaps().figures->find("v1_cathode_mv");
  ASSERT_TRUE(point->expanded_uncertainty);
  EXPECT_NEAR(*point->expanded_uncertainty, 2.0 * (0.005 * point->end->mean + 0.3) / std::sqrt(3.0), 1e-9);
  EXPECT_FALSE(the_gaps().figures->find("mains_w")->expanded_uncertainty);
}

// A run of before, whose chain was worked out about 1 V: its meter alone would be a tenth of what the divider is off by.
TEST(RunFigures, AnUncertaintyThatWasNotWorkedOutForTheReadingIsNotStated) {
  const auto stated = [](std::vector<record::ValueDoubt> doubts) {
    StoredRun run(small_amp(), day_plan);
    record::Wiring wiring;
    wiring.meters = {{"analog_a", "analog-8ch", "bus", "", "", "", ""}};
    wiring.wires = {{"b_plus_v", 0, "ch5", 161.5, profile::Accuracy{.percent_of_reading = 0.1}}};
    wiring.wires.front().doubts = std::move(doubts);
    run.event(record::event_kind_wiring, record::to_json_text(wiring));
    play_small_amp(run);
    run.run_until(3.0 * hour);
    const auto figures = run.figures();
    return figures ? figures->find("b_plus_v")->expanded_uncertainty : std::nullopt;
  };
  const auto known = stated({{400.0, 3.0}, {500.0, 4.0}});
  ASSERT_TRUE(known);
  EXPECT_NEAR(*known, 2.0 * 3.52, 0.2);
  EXPECT_FALSE(stated({{0.5, 0.004}, {1.5, 0.012}}));
}

TEST(RunFigures, ARunThatGoesOnHasFiguresToo) {
  StoredRun run(small_amp(), day_plan);
  play_small_amp(run);
  run.run_until(3.0 * hour);
  const auto figures = run.figures();
  ASSERT_TRUE(figures);
  EXPECT_FALSE(figures->is_over);
  EXPECT_FALSE(figures->verdict);
  EXPECT_TRUE(figures->find("v1_cathode_mv")->end);
}

TEST(RunFigures, ADamagedProfileIsAnErrorAndNoCrash) {
  StoredRun run(small_amp(), day_plan);
  run.row.profile_text = "[profile]\nkind = ";
  EXPECT_FALSE(run.figures());
}

TEST(Wiring, ComesBackAsItWasWritten) {
  record::Wiring wiring;
  wiring.clock_rate = 480.0;
  wiring.meters = {{"analog_a", "analog-8ch-int16", "bus", "S\"1", "", "2025-11-03", ""}};
  wiring.wires = {{"v1", 0, "ch1", 1000.0, profile::Accuracy{.percent_of_reading = 0.5, .fixed = 0.25}}};
  const auto back = record::wiring_from_json(record::to_json_text(wiring));
  ASSERT_TRUE(back);
  EXPECT_EQ(back->meters, wiring.meters);
  EXPECT_EQ(back->wires.front().factor, 1000.0);
  EXPECT_EQ(back->wires.front().accuracy->fixed, 0.25);
  EXPECT_EQ(back->clock_rate, 480.0);
}

TEST(Wiring, AChainAndItsDoubtsComeBack) {
  record::Wiring wiring;
  wiring.meters = {{"analog_a", "analog-8ch", "bus", "", "", "", ""}};
  record::Wire wire;
  wire.point = "b_plus";
  wire.channel = "ch5";
  wire.chain = "divider 4 MΩ over 33.2 kΩ with 100 kΩ input: × 161.5";
  wire.doubts = {{400.0, 2.0}, {500.0, 4.0}};
  wire.doubt_without = {"the tolerance of the divider"};
  wiring.wires = {wire};
  const auto back = record::wiring_from_json(record::to_json_text(wiring));
  ASSERT_TRUE(back);
  EXPECT_EQ(back->wires.front().chain, wire.chain);
  EXPECT_EQ(back->wires.front().doubts, wire.doubts);
  EXPECT_EQ(back->wires.front().doubt_without, wire.doubt_without);
}

TEST(Wiring, BetweenTwoValuesTheDoubtIsOnTheirLine) {
  record::Wire wire;
  wire.doubts = {{400.0, 2.0}, {500.0, 4.0}};
  EXPECT_DOUBLE_EQ(*wire.standard_uncertainty(450.0), 3.0);
  EXPECT_DOUBLE_EQ(*wire.standard_uncertainty(400.0), 2.0);
  EXPECT_DOUBLE_EQ(*wire.standard_uncertainty(500.0), 4.0);
}

TEST(Wiring, BeyondTheOutermostValueNothingIsStated) {
  record::Wire wire;
  wire.doubts = {{400.0, 2.0}, {500.0, 4.0}};
  EXPECT_FALSE(wire.standard_uncertainty(399.0));
  EXPECT_FALSE(wire.standard_uncertainty(501.0));
}

// As every program wrote it that knew no chains.
TEST(Wiring, OfAnOldRunIsReadWithoutAChain) {
  const auto back = record::wiring_from_json(R"({"clock_rate":1.0,"meters":[{"name":"a","instrument":"i","where":"w"}],"wires":[{"point":"v1","meter":0,"channel":"ch1","factor":1000.0,"accuracy":{"fixed":0.5}}]})");
  ASSERT_TRUE(back);
  EXPECT_EQ(back->wires.front().chain, "");
  EXPECT_FALSE(back->wires.front().standard_uncertainty(380.0));
  EXPECT_DOUBLE_EQ(back->wires.front().accuracy->fixed, 0.5);
}

TEST(Wiring, DoubtsThatCannotBeAreNone) {
  for (const char* doubts : {R"([[1.0,2.0],[1.0,3.0]])", R"([[1.0,-2.0]])", R"([[1.0]])", R"("x")", R"([["a",1.0]])"}) {
    const auto back = record::wiring_from_json(std::string(R"({"meters":[{"name":"a"}],"wires":[{"point":"v1","meter":0,"channel":"c","doubts":)") + doubts + "}]}");
    ASSERT_TRUE(back) << doubts;
    EXPECT_TRUE(back->wires.front().doubts.empty()) << doubts;
  }
}

TEST(Wiring, APointAtAMeterThatIsNotThereIsRefused) { EXPECT_FALSE(record::wiring_from_json(R"({"meters":[],"wires":[{"point":"a","meter":3}]})")); }
