#include "app/bench_supply.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <thread>

#include "app/facts.hpp"

namespace steadyglow::app {
namespace {

constexpr std::size_t mains_meter = 0;
constexpr std::size_t relay_meter = 1;

/// A bench with a contactor, mains that are measured and a smoke contact; what it writes and remembers is kept.
struct Night {
  Night() {
    settings.name = "bench 1";
    settings.contactor = OutletBinding{0, relay_meter, 0};
    settings.mains = ChannelBinding{0, mains_meter, 0, {}};
    settings.smoke = ChannelBinding{0, relay_meter, 0, {}};
    settings.stagger_seconds = 0.0;
    SupplyLinks links;
    links.write = [this](const OutletBinding&, bool on, std::function<void(Result<void>)> done) {
      writes.push_back(on);
      done({});
    };
    links.ask = [this](const OutletBinding&, std::function<void(Result<bool>)> done) {
      ++asked;
      done(stands ? Result<bool>(*stands) : Result<bool>(fail(Fault::unavailable, "no answer")));
    };
    links.holds_open = [this] { return against; };
    links.remember = [this](const std::string& kind, const std::string& json) { facts.take({++journal, 0, kind, json}); };
    links.policy_of_next = [](const std::string&) { return std::string("Ada"); };
    links.your_turn = [this](const std::string& unit) { turns.push_back(unit); };
    links.watchdog_dropped = [] {};
    links.supply_fell = [this](const std::string&) { ++falls; };
    links.smoke_changed = [this](std::optional<bool> is_smoke) { smoke.push_back(is_smoke); };
    supply.emplace(settings, 1.0, std::move(links));
  }
  void hears(std::size_t meter, double value, Quality quality = Quality::good) {
    acquire::MeterBatch batch;
    batch.meter = meter;
    batch.taken_at = boottime_now();
    batch.reply.channels.push_back({value, quality});
    supply->take(batch);
  }
  void ticks() { supply->tick(boottime_now()); }

  BenchSettings settings;
  std::optional<BenchSupply> supply;
  Facts facts;
  std::int64_t journal = 0;
  std::vector<bool> writes;
  std::vector<std::string> turns;
  std::vector<std::optional<bool>> smoke;
  std::string against;
  std::optional<bool> stands;
  int asked = 0;
  int falls = 0;  ///< how often the units were told
};

TEST(BenchSupply, AMeterOfTheMainsThatIsSilentIsNoPowerCut) {
  Night night;
  ASSERT_TRUE(night.supply->close("Ada", true).has_value());
  night.hears(mains_meter, 230.0);
  for (int i = 0; i < 20; ++i) night.hears(mains_meter, 0.0, Quality::no_answer);
  EXPECT_TRUE(night.supply->is_contactor_closed());
  EXPECT_EQ(night.falls, 0);
  EXPECT_FALSE(night.supply->mains_steady_for(boottime_now())) << "but nobody knows that they are steady";
}

TEST(BenchSupply, ADeviceThatWasSilentIsAskedHowTheContactorStands) {
  Night night;
  ASSERT_TRUE(night.supply->close("Ada", true).has_value());
  night.ticks();
  EXPECT_EQ(night.asked, 0);
  night.stands = true;
  night.supply->doubt_contactor();
  for (int i = 0; i < 3; ++i) night.ticks();
  EXPECT_EQ(night.asked, 1);
  EXPECT_TRUE(night.supply->is_contactor_closed());

  std::this_thread::sleep_for(std::chrono::milliseconds{550});
  night.stands = false;
  night.supply->doubt_contactor();
  for (int i = 0; i < 3; ++i) night.ticks();
  EXPECT_EQ(night.asked, 2);
  EXPECT_EQ(night.falls, 1);
  EXPECT_FALSE(night.supply->is_contactor_closed());
  night.supply->stagger().ask("triode");
  for (int i = 0; i < 3; ++i) night.ticks();
  EXPECT_TRUE(night.supply->is_contactor_closed()) << "it fell, so a policy may close it";
}

TEST(BenchSupply, WhoeverOpenedItIsNotForgottenWhenItFalls) {
  Night night;
  night.supply->open("Ada wants the bench off", false);
  night.supply->fell("the watchdog");
  EXPECT_EQ(night.falls, 1);
  EXPECT_EQ(night.supply->contactor().reason(), "Ada wants the bench off");
  night.supply->stagger().ask("triode");
  for (int i = 0; i < 3; ++i) night.ticks();
  EXPECT_FALSE(night.supply->is_contactor_closed());
}

TEST(BenchSupply, MainsThatAreSeenToBeGoneOpenItAtOnce) {
  Night night;
  ASSERT_TRUE(night.supply->close("Ada", true).has_value());
  night.hears(mains_meter, 12.0);
  EXPECT_FALSE(night.supply->is_contactor_closed());
  EXPECT_EQ(night.falls, 1);
}

TEST(BenchSupply, InTheDarkNobodyIsToldOfTheSmokeContact) {
  Night night;
  ASSERT_TRUE(night.supply->close("Ada", true).has_value());
  night.hears(relay_meter, 0.0);
  for (int i = 0; i < 5; ++i) {
    night.hears(mains_meter, 0.0, Quality::no_answer);
    night.hears(relay_meter, 0.0, Quality::no_answer);
  }
  EXPECT_EQ(night.smoke, std::vector<std::optional<bool>>{false});
  night.hears(mains_meter, 230.0);
  night.hears(relay_meter, 0.0, Quality::no_answer);
  ASSERT_EQ(night.smoke.size(), 2u) << "with the mains there it is a contact that fails";
  EXPECT_FALSE(night.smoke.back());
}

TEST(BenchSupply, AnOpenSmokeLoopIsSmoke) {
  Night night;
  night.hears(relay_meter, 0.0);
  night.hears(relay_meter, 1.0);
  EXPECT_EQ(night.smoke, (std::vector<std::optional<bool>>{false, true}));
}

// An input that gives 1 for a closed loop: scale = -1, offset = 1 under [bench.smoke].
TEST(BenchSupply, ASmokeLoopMayBeTurnedRound) {
  Night night;
  night.settings.smoke->chain.scale = -1.0;
  night.settings.smoke->chain.offset = 1.0;
  night.hears(relay_meter, 1.0);
  night.hears(relay_meter, 0.0);
  EXPECT_EQ(night.smoke, (std::vector<std::optional<bool>>{false, true}));
}

TEST(BenchSupply, ASmokeLoopOutsideOfWhatIsAcceptedIsNotRead) {
  Night night;
  night.settings.smoke->chain.accept_high = 1.0;
  night.hears(relay_meter, 0.0);
  for (int i = 0; i < 3; ++i) night.hears(relay_meter, 7.0);
  EXPECT_EQ(night.smoke, (std::vector<std::optional<bool>>{false, std::nullopt}));
}

TEST(BenchSupply, NothingClosesItBeforeARelayThatDoesNotOpen) {
  Night night;
  night.against = "the relay of ombrel250 is marked defective";
  const auto closed = night.supply->close("Ada", true);
  ASSERT_FALSE(closed.has_value());
  EXPECT_NE(closed.error().message.find("ombrel250"), std::string::npos);
  night.supply->fell("the watchdog");
  night.supply->stagger().ask("neighbour");
  for (int i = 0; i < 10; ++i) night.ticks();
  EXPECT_EQ(std::count(night.writes.begin(), night.writes.end(), true), 0);
  EXPECT_TRUE(night.turns.empty());
}

TEST(BenchSupply, FoundOpenAfterAStartItFellAndAPolicyMayCloseIt) {
  Night night;
  night.ticks();
  night.ticks();
  EXPECT_EQ(night.asked, 1) << "a device that does not answer is not asked in every tick";
  std::this_thread::sleep_for(std::chrono::milliseconds{550});
  night.stands = false;
  night.supply->stagger().ask("triode");
  for (int i = 0; i < 3; ++i) night.ticks();
  EXPECT_EQ(night.asked, 2);
  EXPECT_TRUE(night.supply->is_contactor_closed());
  EXPECT_EQ(night.turns, std::vector<std::string>{"triode"});
}

TEST(BenchSupply, ALockOutlivesTheProgram) {
  Night night;
  ASSERT_TRUE(night.supply->close("Ada", true).has_value());
  night.supply->open("smoke or heat", true);
  night.ticks();
  const auto why = night.facts.interlock("bench 1.contactor");
  ASSERT_TRUE(why);
  EXPECT_EQ(*why, "smoke or heat");

  Night after;
  after.supply->restore_lock(*why);
  after.stands = false;
  after.supply->stagger().ask("triode");
  for (int i = 0; i < 3; ++i) after.ticks();
  EXPECT_EQ(after.writes, std::vector<bool>{false}) << "ordered open once more, and closed by no policy";
  EXPECT_FALSE(after.supply->close("Ada", false).has_value());
  ASSERT_TRUE(after.supply->close("Ada", true).has_value());
  after.ticks();
  EXPECT_FALSE(after.facts.interlock("bench 1.contactor"));
}

}  // namespace
}  // namespace steadyglow::app
