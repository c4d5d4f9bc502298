/// A clip that somebody touched: what the journal keeps of it, and what the list before one leaves says.
#include <gtest/gtest.h>

#include "app/facts.hpp"
#include "app/readiness.hpp"

namespace steadyglow::app {
namespace {

store::JournalRow touched(const char* json, std::int64_t utc_ms = 1000) { return {1, utc_ms, "clip_touched", json}; }

TEST(Touched, IsKeptWithWhoWhenAndWhere) {
  Facts facts;
  facts.take(touched(R"({"unit":"m50","serial":"M50-1","point":"b_plus_v","channel":"analog_a.ch5","who":"Ada","text":"cell","is_seen":true})", 7000));
  const ClipFact* fact = facts.clip("m50", "M50-1", "b_plus_v");
  ASSERT_NE(fact, nullptr);
  EXPECT_EQ(fact->who, "Ada");
  EXPECT_EQ(fact->channel, "analog_a.ch5");
  EXPECT_EQ(fact->utc_ms, 7000);
  EXPECT_TRUE(fact->is_seen);
}

TEST(Touched, IsOfThisSerialNumberAlone) {
  Facts facts;
  facts.take(touched(R"({"unit":"m50","serial":"M50-1","point":"b_plus_v","who":"Ada"})"));
  EXPECT_EQ(facts.clip("m50", "M50-2", "b_plus_v"), nullptr);
}

ReadyItem points_alive(const ReadySituation& now) {
  for (ReadyItem& item : ready_to_leave({}, nullptr, {}, "Ada", now))
    if (item.key == "points_alive") return item;
  ADD_FAILURE();
  return {};
}

TEST(Touched, IsExtraWordsInTheReadyList) {
  ReadySituation now;
  now.points = {{"b_plus_v", true, true, true, ""}};
  now.clips_touched = "1 of 1 clips touched and ticked, last by Ada";
  EXPECT_EQ(points_alive(now).reason, "1 protective points read; 1 of 1 clips touched and ticked, last by Ada");
}

TEST(Touched, MakesNoDeadPointAlive) {
  ReadySituation now;
  now.points = {{"b_plus_v", true, true, false, "no_answer"}};
  now.clips_touched = "1 of 1 clips touched and ticked, last by Ada";
  EXPECT_EQ(points_alive(now).answer, Answer::no);
}

}  // namespace
}  // namespace steadyglow::app
