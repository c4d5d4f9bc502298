#include <gtest/gtest.h>

#include <algorithm>

#include "card/advice.hpp"
#include "card/written.hpp"

namespace steadyglow::card {
namespace {

using Kind = EntryKind;

/// An invented shop: sixty repairs soaked for 48 h, eight of them failed on the way.
Shop sixty_repairs() {
  Shop shop;
  int number = 0;
  const auto serial = [&] { return "S-" + std::to_string(1000 + number); };
  for (const double hours : {0.5, 1.2, 3.0, 6.0, 11.0, 19.0, 27.0, 41.0}) {
    ++number;
    shop.run("u" + std::to_string(number), serial(), "fail", hours - 0.4, hours);
  }
  while (number < 60) {
    ++number;
    shop.run("u" + std::to_string(number), serial(), "pass", 48.0);
  }
  return shop;
}

bool says(const std::vector<std::string>& sentences, const std::string& words) {
  return std::any_of(sentences.begin(), sentences.end(), [&](const std::string& one) { return one.find(words) != std::string::npos; });
}

// --- lives

TEST(Lives, APassIsCensoredAtItsCountedHours) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  const Lives lives = lives_of(shop.cards);
  ASSERT_EQ(lives.all.size(), 1u);
  EXPECT_EQ(lives.all[0].life.hours, 24.0);
  EXPECT_FALSE(lives.all[0].life.has_failed);
}

TEST(Lives, AFailureLivedUntilItFailed) {
  Shop shop;
  shop.run("m50", "1", "fail", 3.0, 4.2);
  const Lives lives = lives_of(shop.cards);
  EXPECT_EQ(lives.all[0].life.hours, 4.2);
  EXPECT_TRUE(lives.all[0].life.has_failed);
}

TEST(Lives, AFailureInTheWarmUpIsOneTooAndHasHours) {
  Shop shop;
  shop.run("m50", "1", "fail", 0.0, 0.0);
  EXPECT_GT(lives_of(shop.cards).all.at(0).life.hours, 0.0);
}

TEST(Lives, RunsOfOneRepairAddUp) {
  Shop shop;
  shop.run("m50", "1", "incomplete", 10.0);
  shop.run("m50", "1", "pass", 24.0);
  const Lives lives = lives_of(shop.cards);
  ASSERT_EQ(lives.all.size(), 1u);
  EXPECT_EQ(lives.all[0].life.hours, 34.0);
}

TEST(Lives, AFailureAfterHoursOfAnEarlierRunHasThoseToo) {
  Shop shop;
  shop.run("m50", "1", "incomplete", 10.0);
  shop.run("m50", "1", "fail", 4.0, 5.0);
  EXPECT_EQ(lives_of(shop.cards).all.at(0).life.hours, 15.0);
}

TEST(Lives, ARepairBetweenTwoRunsBeginsANewLife) {
  Shop shop;
  shop.run("m50", "1", "incomplete", 10.0);
  shop.write("m50", Kind::repair, {{"found", "R7 open"}});
  shop.run("m50", "1", "pass", 24.0);
  EXPECT_EQ(lives_of(shop.cards).all.size(), 2u);
}

TEST(Lives, ARunAfterAFailureIsANewRepair) {
  Shop shop;
  shop.run("m50", "1", "fail", 4.0, 5.0);
  shop.run("m50", "1", "pass", 24.0);
  const Lives lives = lives_of(shop.cards);
  ASSERT_EQ(lives.all.size(), 2u);
  EXPECT_EQ(lives.all[1].life.hours, 24.0);
}

TEST(Lives, AReturnFailedAtSoakAndOwnerHoursTogether) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  shop.write("m50", Kind::sold, {{"day", "2026-01-01"}});
  shop.write("m50", Kind::returned, {{"day", "2026-01-01"}, {"owner_hours", 90}, {"complaint", "hum"}, {"is_fault", true}});
  const Lives lives = lives_of(shop.cards);
  ASSERT_EQ(lives.all.size(), 1u);
  EXPECT_EQ(lives.all[0].life.hours, 114.0);
  EXPECT_TRUE(lives.all[0].life.has_failed);
  EXPECT_TRUE(lives.all[0].is_return);
  EXPECT_EQ(lives.sold, 1u);
  EXPECT_EQ(lives.returned, 1u);
}

TEST(Lives, AReturnOnTheDayOfTheSoakComesAfterIt) {
  Shop shop;
  shop.now_ms += 8 * ms_per_hour;
  shop.run("m50", "1", "pass", 2.0);
  shop.write("m50", Kind::returned, {{"day", "2026-01-01"}, {"owner_hours", 1}, {"complaint", "hum"}, {"is_fault", true}});
  EXPECT_TRUE(lives_of(shop.cards).all.at(0).life.has_failed);
}

TEST(Lives, AReturnThatIsWrittenDownLateStillComesBeforeTheNextSoak) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  shop.now_ms += 48 * ms_per_hour;
  shop.run("m50", "1", "pass", 10.0);
  shop.now_ms += 48 * ms_per_hour;
  shop.write("m50", Kind::returned, {{"day", "2026-01-02"}, {"owner_hours", 6}, {"complaint", "hum"}, {"is_fault", true}});
  const Lives lives = lives_of(shop.cards);
  ASSERT_EQ(lives.all.size(), 2u);
  EXPECT_EQ(lives.all[0].life.hours, 30.0);
  EXPECT_EQ(lives.all[1].life.hours, 10.0);
}

TEST(Lives, AReturnWithoutHoursCountsAsReturnedButNotAsAFailureAtAnHourThatNobodyKnows) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  shop.write("m50", Kind::returned, {{"day", "2026-01-01"}, {"complaint", "hum"}, {"is_fault", true}});
  const Lives lives = lives_of(shop.cards);
  EXPECT_FALSE(lives.all.at(0).life.has_failed);
  EXPECT_EQ(lives.returned_without_hours, 1u);
}

TEST(Lives, ADentFromTheCarrierIsNoFailure) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  shop.write("m50", Kind::returned, {{"day", "2026-01-01"}, {"owner_hours", 10}, {"complaint", "dented"}, {"is_fault", false}});
  const Lives lives = lives_of(shop.cards);
  EXPECT_EQ(lives.all.at(0).life.hours, 34.0);
  EXPECT_FALSE(lives.all.at(0).life.has_failed);
  EXPECT_EQ(lives.returned, 0u);
}

TEST(Lives, ACorrectedReturnIsNone) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  const auto back = shop.write("m50", Kind::returned, {{"day", "2026-01-01"}, {"owner_hours", 90}, {"complaint", "hum"}, {"is_fault", true}});
  shop.write("m50", Kind::remark, {{"text", "that was the other one"}}, back);
  EXPECT_EQ(lives_of(shop.cards).returned, 0u);
}

TEST(Lives, OneThatRunsSaysNothingYetAndOneThatNobodyToldAgainIsNamed) {
  Shop shop;
  RunSeen running;
  running.unit = "a";
  running.state = "running";
  shop.cards.take(running);
  RunSeen unread;
  unread.unit = "b";
  unread.state = "ended";
  shop.cards.take(unread);
  const Lives lives = lives_of(shop.cards);
  EXPECT_TRUE(lives.all.empty());
  EXPECT_EQ(lives.runs_unread, 1u);
}

TEST(Lives, AFailedRunThatNobodyWatchedIsNoFailure) {
  Shop shop;
  RunSeen brought;
  brought.unit = "a";
  brought.state = "ended";
  brought.word = "fail";
  brought.counts_nothing = true;
  shop.cards.take(brought);
  const Lives lives = lives_of(shop.cards);
  EXPECT_TRUE(lives.all.empty());
  EXPECT_EQ(lives.runs_unread, 0u);
}

TEST(Lives, ByKindAndByModel) {
  Shop shop;
  shop.run("m50", "1", "pass", 24.0);
  shop.kind = "solid-state-ab";
  shop.title = "Fennimark 120";
  shop.run("f", "2", "pass", 24.0);
  EXPECT_EQ(lives_of(shop.cards, {.kind = "solid-state-ab", .model = {}}).all.size(), 1u);
  EXPECT_EQ(lives_of(shop.cards, {.kind = {}, .model = "wexmere m50"}).all.size(), 1u);
  EXPECT_EQ(lives_of(shop.cards).all.size(), 2u);
}

// --- advice; the shop of sixty is invented, its figures are our own arithmetic (see also tests/reliability and the check against R)

TEST(Advice, OfSixtyRepairsWithEightFailures) {
  const Advice advice = advise(lives_of(sixty_repairs().cards), 24.0);
  EXPECT_EQ(advice.units, 60u);
  EXPECT_EQ(advice.failures, 8u);
  ASSERT_TRUE(advice.weibull.has_value());
  EXPECT_NEAR(advice.weibull->shape, 0.51, 0.005);
  ASSERT_TRUE(advice.next.has_value());
  EXPECT_NEAR(100.0 * advice.next->of_started, 2.1, 0.05);
  EXPECT_FALSE(advice.next->is_extrapolated);
}

TEST(Advice, TwelveHoursLaterFindsFewer) {
  const Advice advice = advise(lives_of(sixty_repairs().cards), 36.0);
  ASSERT_TRUE(advice.next.has_value());
  EXPECT_NEAR(100.0 * advice.next->of_started, 1.7, 0.05);
}

TEST(Advice, BeyondTheLongestRunItSaysExtrapolated) {
  const Advice advice = advise(lives_of(sixty_repairs().cards), 48.0);
  EXPECT_TRUE(says(advice.sentences, "extrapolated"));
  EXPECT_NE(advice.line.find("extrapolated"), std::string::npos);
}

TEST(Advice, EightFailuresAreCalledAGuess) {
  const Advice advice = advise(lives_of(sixty_repairs().cards), 24.0);
  EXPECT_TRUE(says(advice.sentences, "a guess"));
  EXPECT_NE(advice.line.find("a guess"), std::string::npos);
}

TEST(Advice, SurvivalAtThePlanHasItsBand) {
  const Advice advice = advise(lives_of(sixty_repairs().cards), 24.0);
  const auto step = reliability::survival_at(advice.survival, 24.0);
  EXPECT_NEAR(step.survival, 54.0 / 60.0, 1e-12);
  EXPECT_TRUE(says(advice.sentences, "90 % are still running after 24 h"));
}

TEST(Advice, NoFailureIsABoundAndNoPromise) {
  Shop shop;
  for (int i = 0; i < 20; ++i) shop.run("u" + std::to_string(i), "S-" + std::to_string(1000 + i), "pass", 24.0);
  const Advice advice = advise(lives_of(shop.cards), 24.0);
  ASSERT_TRUE(advice.no_failure.has_value());
  EXPECT_NEAR(advice.no_failure->share_at_most, 0.139, 5e-4);  // 1 - 0.05^(1/20)
  EXPECT_TRUE(says(advice.sentences, "not a promise"));
  EXPECT_FALSE(advice.weibull.has_value());
}

TEST(Advice, FourFailuresDrawNoCurveAndItSaysWhatIsMissing) {
  Shop shop;
  for (int i = 0; i < 20; ++i) shop.run("u" + std::to_string(i), "S-" + std::to_string(1000 + i), i < 4 ? "fail" : "pass", 24.0, i < 4 ? std::optional<double>(2.0 + i) : std::nullopt);
  const Advice advice = advise(lives_of(shop.cards), 24.0);
  EXPECT_FALSE(advice.weibull.has_value());
  EXPECT_FALSE(advice.next.has_value()) << "nobody ran beyond 24 h";
  EXPECT_TRUE(says(advice.cannot_say, "needs 5"));
  EXPECT_TRUE(says(advice.cannot_say, "from 24 to 36"));
}

TEST(Advice, NoneWithinThePlanSaysHowManyRanForIt) {
  Shop shop;
  shop.run("m50", "1", "incomplete", 0.5);
  shop.run("m51", "2", "fail", 90.0, 91.0);
  const Advice advice = advise(lives_of(shop.cards), 24.0);
  EXPECT_TRUE(says(advice.sentences, "None failed within 24 h; 1 repair ran for 24 h."));
  EXPECT_TRUE(says(advice.sentences, "find about 0 more"));
}

TEST(Advice, AnEmptyShopSaysThatItKnowsNothing) {
  const Advice advice = advise({}, 24.0);
  EXPECT_NE(advice.line.find("nothing speaks"), std::string::npos);
  EXPECT_TRUE(advice.sentences.empty());
  EXPECT_FALSE(advice.next.has_value());
}

TEST(Advice, OfOneUnitThereIsNoMeanTimeBetweenFailures) {
  Shop shop;
  shop.run("m50", "1", "fail", 24.0, 20.0);
  const std::string text = to_json(advise(lives_of(shop.cards), 24.0)).dump();
  EXPECT_EQ(text.find("MTBF"), std::string::npos);
  EXPECT_EQ(text.find("mtbf"), std::string::npos);
  EXPECT_TRUE(says(advise(lives_of(shop.cards), 24.0).cannot_say, "this one unit"));
}

TEST(Advice, OneBackOfTwentySeven) {
  Shop shop;
  for (int i = 0; i < 27; ++i) {
    const std::string name = "u" + std::to_string(i);
    shop.run(name, "S-" + std::to_string(1000 + i), "pass", 24.0);
    shop.write(name, Kind::sold, {{"day", "2025-12-01"}});
  }
  shop.write("u3", Kind::returned, {{"day", "2026-01-02"}, {"complaint", "hum"}, {"is_fault", true}});
  const Advice advice = advise(lives_of(shop.cards), 24.0);
  ASSERT_TRUE(advice.returns.has_value());
  EXPECT_EQ(advice.returns->sold, 27u);
  EXPECT_EQ(advice.returns->returned, 1u);
  // Exact interval of 1 in 27 at 95 %: 0.0009 to 0.1897 (Clopper and Pearson; own arithmetic by the beta quantiles).
  EXPECT_NEAR(advice.returns->interval.low, 0.0009, 5e-5);
  EXPECT_NEAR(advice.returns->interval.high, 0.1897, 5e-4);
}

TEST(Advice, AReturnMovesIt) {
  Shop shop = sixty_repairs();
  const double before = advise(lives_of(shop.cards), 24.0).next->of_running;
  shop.write("u20", Kind::returned, {{"day", "2026-01-05"}, {"owner_hours", 1}, {"complaint", "hum"}, {"is_fault", true}});
  EXPECT_NE(advise(lives_of(shop.cards), 24.0).next->of_running, before);
}

}  // namespace
}  // namespace steadyglow::card
