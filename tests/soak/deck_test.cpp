/// Decks play and stand by turns, and their meters are read when their turn comes.
#include <gtest/gtest.h>

#include "support/night.hpp"

namespace steadyglow::tests {
namespace {

using soak::Kind;

const std::string deck_text = R"(
[profile]
kind = "tape-deck"
mains_nominal_volts = 230.0
drive = "steady"
[[point]]
name = "speed_hz"
quantity = "speed"
uom = "Hz"
role = "speed"
nominal = 3000.0
[[point]]
name = "motor_ma"
quantity = "current"
uom = "mA"
role = "supply_current"
nominal = 95.0
warn = { low = 80.0, high = 110.0 }
[[point]]
name = "level_mv"
quantity = "voltage"
uom = "mV"
role = "level"
nominal = 580.0
[[point]]
name = "mains_v"
quantity = "voltage"
uom = "V"
role = "mains_voltage"
[[point]]
name = "mains_w"
quantity = "power"
uom = "W"
role = "mains_power"
)";

/// Plays sides of 45 min from the start on, and stands for 5 min after each.
Course by_sides(Course playing, double standing) {
  return [=](double s) { return std::fmod(s, 50.0 * minutes) < 45.0 * minutes ? playing(s) : standing; };
}

Night deck_night() {
  Night night(deck_text);
  night.point("speed_hz", by_sides(hold(3000.0), 0.0), 0.4).point("motor_ma", by_sides(hold(95.0), 4.0), 0.6).point("level_mv", by_sides(hold(580.0), 8.0), 1.5);
  night.point("mains_v", hold(230.0), 0.1).point("mains_w", by_sides(hold(22.0), 9.0), 0.1);
  return night;
}

TEST(Deck, TheEndOfASideIsNoEvent) {
  Night night = deck_night();
  night.run_until(12.0 * hours);
  EXPECT_EQ(night.loud(), "");
}

TEST(Deck, AClipThatFellStaysFallenWhileTheDeckStands) {
  Night night = deck_night();
  night.point("motor_ma", stepping(by_sides(hold(95.0), 4.0), 4.0 * hours, 0.0), 0.1);
  night.run_until(6.0 * hours);
  ASSERT_FALSE(night.findings(Kind::sensor).empty());
  EXPECT_TRUE(night.findings(Kind::limit).empty()) << night.findings(Kind::limit).front().message;
}

TEST(Deck, OneThatIsFoundAgainPlayingHasItsContactBack) {
  Night night = deck_night();
  const Course healthy = by_sides(hold(95.0), 4.0);
  night.point("motor_ma", [=](double s) { return s > 4.0 * hours && s < 5.2 * hours ? 0.0 : healthy(s); }, 0.1);
  night.run_until(7.0 * hours);
  ASSERT_FALSE(night.findings(Kind::sensor).empty());
  for (const soak::Finding* standing : night.engine.book().standing()) EXPECT_NE(standing->kind, Kind::sensor) << standing->message;
}

TEST(Deck, ItsFiguresAreJudgedToWhereItsSpeedIsReadSeldom) {
  Night night = deck_night();
  night.every("speed_hz", 60.0).point("level_mv", by_sides(stepping(hold(580.0), 6.0 * hours, 530.0), 8.0), 1.5);
  night.run_until(8.0 * hours);
  const std::string loud = night.loud();
  EXPECT_NE(loud.find("level_mv"), std::string::npos) << loud;
}

/// A tone that is silent in stop: no reading at all.
Night silent_from_to(double from, double until) {
  Night night = deck_night();
  night.missing("speed_hz", from, until).point("mains_w", [=](double s) { return s >= from && s < until ? 9.0 : by_sides(hold(22.0), 9.0)(s); }, 0.1);
  return night;
}

TEST(Deck, NobodyMindsHowLongItStandsWhileTheUnitWarmsUp) {
  Night night = silent_from_to(5.0 * minutes, 55.0 * minutes);
  night.run_until(58.0 * minutes);
  EXPECT_TRUE(night.findings(Kind::no_data).empty()) << night.findings(Kind::no_data).front().message;
}

TEST(Deck, ThatItStandsForAnHourLaterIsTold) {
  Night night = silent_from_to(5.0 * hours, 6.0 * hours);
  night.run_until(6.0 * hours);
  EXPECT_FALSE(night.findings(Kind::no_data).empty());
}

}  // namespace
}  // namespace steadyglow::tests
