#include "acquire/schedule.hpp"

#include <gtest/gtest.h>

#include <map>

namespace steadyglow::acquire {
namespace {

using namespace std::chrono_literals;
using Kind = Step::Kind;

/// A bus on a clock of its own: a poll of an answering meter takes `answer`, of a dead one `timeout`.
class Bench {
 public:
  explicit Bench(std::vector<Span> periods) : schedule(std::move(periods), 0s) {}

  void run_until(Instant end) {
    while (now < end) {
      const Step step = schedule.next(now);
      if (step.kind == Kind::wait) {
        now = std::min(step.until, end);
        continue;
      }
      if (step.kind == Kind::report_silent) {
        ++reports[step.meter];
        schedule.reported(step.meter, now);
        continue;
      }
      const bool is_dead = dead.contains(step.meter) && dead[step.meter];
      const Instant began = now;
      now += is_dead ? timeout : answer;
      ++polls[step.meter];
      polled_at[step.meter].push_back(began);
      schedule.polled(step.meter, began, now, !is_dead);
    }
  }

  Schedule schedule;
  Instant now{};
  Span answer = 5ms;
  Span timeout = 500ms;
  std::map<std::size_t, bool> dead;
  std::map<std::size_t, int> polls;
  std::map<std::size_t, int> reports;
  std::map<std::size_t, std::vector<Instant>> polled_at;
};

TEST(Schedule, EveryMeterKeepsItsOwnPeriod) {
  Bench bench({1s, 250ms});
  bench.run_until(10s);
  EXPECT_EQ(bench.polls[0], 10);
  EXPECT_EQ(bench.polls[1], 40);
  EXPECT_EQ(bench.schedule.overruns(), 0u);
}

TEST(Schedule, TheGridDoesNotDriftWithTheTimeThatPollsTake) {
  Bench bench({100ms});
  bench.answer = 37ms;
  bench.run_until(60s);
  EXPECT_EQ(bench.polls[0], 600);
  EXPECT_EQ(bench.polled_at[0].back(), 59900ms);
}

TEST(Schedule, MissedTurnsAreCountedAndNotMadeUpFor) {
  Bench bench({100ms});
  bench.run_until(50ms);
  bench.now = 1050ms;  // the bus was away for ten turns
  bench.run_until(1090ms);
  EXPECT_EQ(bench.polls[0], 2);
  EXPECT_EQ(bench.schedule.overruns(), 9u);
  bench.run_until(2s);
  EXPECT_EQ(bench.polls[0], 11);
}

TEST(Schedule, ABusThatIsTooSlowPollsAsOftenAsItCanAndSaysSo) {
  Bench bench({10ms});
  bench.answer = 25ms;
  bench.run_until(1s);
  EXPECT_EQ(bench.polls[0], 40);
  EXPECT_NEAR(static_cast<double>(bench.schedule.overruns()), 60.0, 2.0);
}

TEST(Schedule, NobodyStarvesOnABusThatIsTooSlow) {
  Bench bench({10ms, 10ms, 1s});
  bench.answer = 25ms;
  bench.run_until(10s);
  EXPECT_GE(bench.polls[2], 9);
  EXPECT_NEAR(bench.polls[0], bench.polls[1], 2);
}

TEST(Schedule, OneLostAnswerIsNotSilence) {
  Bench bench({1s});
  bench.dead[0] = true;
  bench.run_until(700ms);
  EXPECT_FALSE(bench.schedule.is_silent(0));
  bench.run_until(1700ms);
  EXPECT_TRUE(bench.schedule.is_silent(0));
}

TEST(Schedule, ASilentMeterIsProbedAtGrowingPausesUpToTheMaximum) {
  Bench bench({100ms});
  bench.timeout = 10ms;
  bench.dead[0] = true;
  bench.run_until(120s);
  const auto& at = bench.polled_at[0];
  EXPECT_LT(at[3] - at[2], at[4] - at[3]);
  const Span last = at.back() - at[at.size() - 2];
  EXPECT_GE(last, probe_pause_max);
  EXPECT_LE(last, probe_pause_max + 200ms);
}

TEST(Schedule, ASlowMeterIsProbedAtEachOfItsTurns) {
  Bench bench({60s});
  bench.dead[0] = true;
  bench.run_until(600s);
  EXPECT_EQ(bench.polls[0], 10);
}

TEST(Schedule, ASilentMeterIsReportedAtItsOwnRate) {
  Bench bench({100ms, 100ms});
  bench.timeout = 50ms;
  bench.dead[0] = true;
  bench.run_until(100s);
  EXPECT_NEAR(bench.reports[0] + bench.polls[0], 1000, 10);
}

TEST(Schedule, ADeadMeterLeavesTheOthersTheirRate) {
  // Periods as in a demo that runs 480 times as fast: every probe costs the others more than twenty turns.
  Bench bench({20833us, 20833us, 20833us});
  bench.dead[2] = true;
  bench.run_until(300s);
  const double turns = 300.0 / 0.020833;
  EXPECT_GE(bench.polls[0], 0.95 * turns);
  EXPECT_GE(bench.polls[1], 0.95 * turns);
  EXPECT_GE(bench.polls[2], 10);
}

TEST(Schedule, ManyDeadMetersShareTheProbes) {
  Bench bench({20ms, 20ms, 20ms, 20ms, 20ms, 20ms});
  for (std::size_t meter = 1; meter < 6; ++meter) bench.dead[meter] = true;
  bench.run_until(600s);
  EXPECT_GE(bench.polls[0], 0.95 * 600.0 / 0.02);
  for (std::size_t meter = 1; meter < 6; ++meter) EXPECT_GE(bench.polls[meter], 5) << meter;
}

TEST(Schedule, AProbeThatFitsBetweenTurnsDelaysNobody) {
  Bench bench({1s, 1s});
  bench.dead[1] = true;
  bench.run_until(300s);
  EXPECT_EQ(bench.polls[0], 300);
  // The pause alone decides, not the share: a probe every five to six seconds.
  EXPECT_GE(bench.polls[1], 45);
}

TEST(Schedule, AMeterThatAnswersAgainIsBackOnItsGridAtOnce) {
  Bench bench({100ms, 1s});
  bench.timeout = 10ms;
  bench.dead[0] = true;
  bench.run_until(30s);
  bench.dead[0] = false;
  bench.run_until(36s);
  EXPECT_FALSE(bench.schedule.is_silent(0));
  const int before = bench.polls[0];
  bench.run_until(46s);
  EXPECT_EQ(bench.polls[0] - before, 100);
}

TEST(Schedule, PollSoonComesBeforeEveryTurnAndKeepsTheGrid) {
  Schedule schedule({1s, 1s}, 0s);
  schedule.poll_soon(1);
  EXPECT_EQ(schedule.next(0s).meter, 1u);
  schedule.polled(1, 0s, 5ms, true);
  EXPECT_EQ(schedule.next(5ms).meter, 0u);
  schedule.polled(0, 5ms, 10ms, true);
  schedule.poll_soon(0);
  schedule.polled(0, 300ms, 305ms, true);
  const Step step = schedule.next(305ms);
  EXPECT_EQ(step.kind, Kind::wait);
  EXPECT_EQ(step.until, 1s);
}

TEST(Schedule, PollSoonAsksASilentMeterToo) {
  Bench bench({1s, 1s});
  bench.dead[1] = true;
  bench.run_until(20s);
  ASSERT_TRUE(bench.schedule.is_silent(1));
  bench.schedule.poll_soon(1);
  EXPECT_EQ(bench.schedule.next(bench.now).kind, Kind::poll);
  EXPECT_EQ(bench.schedule.next(bench.now).meter, 1u);
}

TEST(Schedule, WithoutMetersThereIsNothingToDo) { EXPECT_EQ(Schedule({}, 0s).next(5s).kind, Kind::wait); }

}  // namespace
}  // namespace steadyglow::acquire
