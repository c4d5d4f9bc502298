/// The watchdog's feeding, the stagger and the trip rehearsal.
#include <gtest/gtest.h>

#include "outlet/keeper.hpp"
#include "outlet/rehearsal.hpp"
#include "outlet/stagger.hpp"
#include "outlet/watchdog.hpp"

namespace steadyglow::outlet {
namespace {

using std::chrono::milliseconds;
using Order = Rehearsal::Order;
const Instant start{};

TEST(DefectiveContact, IsClosedByNobodyUntilItWasReplaced) {
  Keeper keeper;
  keeper.open("trip", true);
  keeper.mark_defective("current went on");
  EXPECT_FALSE(keeper.close("Ada", true).has_value());
  EXPECT_FALSE(keeper.close_by_policy("Ada").has_value());
  ASSERT_TRUE(keeper.repaired("Ada").has_value());
  EXPECT_TRUE(keeper.close("Ada", true).has_value());
  EXPECT_TRUE(keeper.is_unproven()) << "only a rehearsal proves it";
  keeper.proven();
  EXPECT_FALSE(keeper.is_unproven());
}

TEST(DefectiveContact, MayStillBeOrderedOff) {
  Keeper keeper;
  keeper.mark_defective("current went on");
  keeper.open("a person", false);
  EXPECT_EQ(keeper.next_write(start), false);
}

TEST(AfterAStart, WhatTheDeviceSaysIsTakenAndNothingIsWritten) {
  Keeper keeper;
  keeper.found(true);
  EXPECT_EQ(keeper.wanted(), Wanted::on);
  EXPECT_FALSE(keeper.next_write(start).has_value());
  keeper.found(false);
  EXPECT_EQ(keeper.wanted(), Wanted::on) << "asked once";
}

TEST(Policy, NeverOpensAnInterlock) {
  Keeper keeper;
  keeper.open("trip", true);
  EXPECT_FALSE(keeper.close_by_policy("Ada").has_value());
  EXPECT_EQ(keeper.wanted(), Wanted::off);
}

TEST(Policy, NeedsTheNameOfWhoSetIt) {
  Keeper keeper;
  keeper.open("the mains went", false);
  EXPECT_FALSE(keeper.close_by_policy("").has_value());
  EXPECT_TRUE(keeper.close_by_policy("Ada").has_value());
}

/// Lets time pass in steps of 100 ms and feeds; returns the writes.
int fed(Watchdog& dog, milliseconds from, milliseconds to, const std::function<void(Instant)>& work) {
  int writes = 0;
  for (milliseconds t = from; t < to; t += milliseconds{100}) {
    work(start + t);
    if (!dog.next_write(start + t)) continue;
    ++writes;
    dog.answered(true, start + t);
  }
  return writes;
}

TEST(Watchdog, IsFedAtItsIntervalWhileAllPartsMove) {
  Watchdog dog({milliseconds{2000}, milliseconds{10000}, milliseconds{5000}});
  dog.expect("engine", start);
  dog.expect("bus", start);
  const int writes = fed(dog, milliseconds{0}, milliseconds{60000}, [&](Instant now) { dog.progress("engine", now), dog.progress("bus", now); });
  EXPECT_EQ(writes, 30);
}

TEST(Watchdog, StarvesWhenOnePartStopsThoughTheOthersGoOn) {
  Watchdog dog({milliseconds{2000}, milliseconds{10000}, milliseconds{5000}});
  dog.expect("engine", start);
  dog.expect("bus", start);
  fed(dog, milliseconds{0}, milliseconds{20000}, [&](Instant now) { dog.progress("engine", now), dog.progress("bus", now); });
  const int late = fed(dog, milliseconds{25200}, milliseconds{90000}, [&](Instant now) { dog.progress("engine", now); });
  EXPECT_EQ(late, 0);
  EXPECT_EQ(dog.held_because(start + milliseconds{60000}), "bus");
  EXPECT_EQ(dog.unfed_because(start + milliseconds{60000}), "bus does not move; every contact must be open by now");
  EXPECT_TRUE(dog.has_dropped(start + milliseconds{60000}));
}

TEST(Watchdog, SaysLongBeforeTheContactsOpenThatItsRelayTakesNoWrite) {
  Watchdog dog({milliseconds{2000}, milliseconds{10000}, milliseconds{5000}});
  EXPECT_EQ(dog.unfed_because(start), "its relay has not taken a write yet");
  fed(dog, milliseconds{0}, milliseconds{2100}, [](Instant) {});
  ASSERT_TRUE(dog.next_write(start + milliseconds{4000}));
  dog.answered(false, start + milliseconds{4500});
  EXPECT_EQ(dog.unfed_because(start + milliseconds{7000}), std::nullopt);  // one write was lost: that alone is nothing
  EXPECT_EQ(dog.unfed_because(start + milliseconds{8000}), "its relay has taken no write for 6 s; 10 s after the last write every contact opens");
  EXPECT_EQ(dog.unfed_because(start + milliseconds{20000}), "its relay has taken no write for 18 s; every contact must be open by now");
  ASSERT_TRUE(dog.next_write(start + milliseconds{20000}));
  dog.answered(true, start + milliseconds{20100});
  EXPECT_EQ(dog.unfed_because(start + milliseconds{20200}), std::nullopt);
}

TEST(Watchdog, ExpectsNothingOfAPartWhoseUnitIsOff) {
  Watchdog dog({milliseconds{2000}, milliseconds{10000}, milliseconds{5000}});
  dog.expect("engine", start);
  dog.excuse("engine");
  EXPECT_GT(fed(dog, milliseconds{60000}, milliseconds{70000}, [](Instant) {}), 3);
}

TEST(Watchdog, APartThatNeverMovedAtAllHoldsItToo) {
  Watchdog dog({});
  dog.expect("bus", start);
  EXPECT_FALSE(dog.held_because(start + milliseconds{4900}));
  EXPECT_TRUE(dog.held_because(start + milliseconds{5100}));
}

TEST(Watchdog, GivesABusOfSlowMetersItsTime) {
  Watchdog dog({});
  dog.expect("slow", start, milliseconds{30000});
  EXPECT_FALSE(dog.held_because(start + milliseconds{29000}));
  EXPECT_TRUE(dog.held_because(start + milliseconds{31000}));
}

TEST(Stagger, SwitchesOneAfterTheOther) {
  Stagger stagger(milliseconds{60000});
  stagger.ask("ostrel");
  stagger.ask("tolvane");
  stagger.ask("ostrel");
  EXPECT_EQ(stagger.next(start), "ostrel");
  EXPECT_FALSE(stagger.next(start + milliseconds{59000}));
  EXPECT_EQ(stagger.next(start + milliseconds{60000}), "tolvane");
  EXPECT_FALSE(stagger.next(start + milliseconds{600000}));
}

TEST(Stagger, WhoWasOrderedOffLosesTheTurn) {
  Stagger stagger(milliseconds{60000});
  stagger.ask("ostrel");
  stagger.withdraw("ostrel");
  EXPECT_FALSE(stagger.next(start));
}

/// A unit behind a relay and a contactor, either of which may be welded.
struct Wiring {
  bool relay = true, contactor = true;
  bool is_relay_welded = false, is_contactor_welded = false;
  void obey(Order order) {
    if (order == Order::open_unit) relay = is_relay_welded;
    if (order == Order::close_unit) relay = true;
    if (order == Order::open_bench) contactor = is_contactor_welded;
    if (order == Order::close_bench) contactor = true;
  }
  bool draws() const { return relay && contactor; }
};

Rehearsal played(Wiring wiring, bool has_contactor = true) {
  Rehearsal rehearsal(has_contactor, {}, start);
  for (milliseconds t{0}; t < milliseconds{60000} && !rehearsal.is_over(); t += milliseconds{250}) {
    wiring.obey(rehearsal.next_order());
    rehearsal.saw(wiring.draws(), start + t);
    rehearsal.advance(start + t);
  }
  return rehearsal;
}

TEST(Rehearsal, PassesWhenBothBreaksObey) {
  const Rehearsal done = played({});
  EXPECT_EQ(done.step(), Rehearsal::Step::passed) << done.text();
  EXPECT_NE(done.text().find("bench contactor opened: no current"), std::string::npos) << done.text();
}

TEST(Rehearsal, WithoutAContactorProvesTheUnitRelayAlone) { EXPECT_EQ(played({}, false).step(), Rehearsal::Step::passed); }

TEST(Rehearsal, NamesTheWeldedRelay) {
  Wiring wiring;
  wiring.is_relay_welded = true;
  const Rehearsal done = played(wiring);
  EXPECT_EQ(done.step(), Rehearsal::Step::failed);
  EXPECT_TRUE(done.has_relay_failed());
  EXPECT_FALSE(done.has_contactor_failed());
}

TEST(Rehearsal, NamesTheWeldedContactor) {
  Wiring wiring;
  wiring.is_contactor_welded = true;
  const Rehearsal done = played(wiring);
  EXPECT_EQ(done.step(), Rehearsal::Step::failed);
  EXPECT_FALSE(done.has_relay_failed());
  EXPECT_TRUE(done.has_contactor_failed());
}

TEST(Rehearsal, FailsWhenTheUnitDoesNotComeBack) {
  Rehearsal rehearsal(false, {}, start);
  rehearsal.next_order();
  rehearsal.saw(false, start + milliseconds{300});
  for (milliseconds t{500}; t < milliseconds{30000}; t += milliseconds{250}) rehearsal.next_order(), rehearsal.advance(start + t);
  EXPECT_EQ(rehearsal.step(), Rehearsal::Step::failed);
  EXPECT_FALSE(rehearsal.has_relay_failed());
}

TEST(Rehearsal, DoesNotTakeAnOldReadingForProof) {
  Rehearsal rehearsal(false, {}, start);
  rehearsal.saw(false, start);
  EXPECT_EQ(rehearsal.step(), Rehearsal::Step::unit_off);
}

}  // namespace
}  // namespace steadyglow::outlet
