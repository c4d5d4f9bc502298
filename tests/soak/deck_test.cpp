/// Decks play and stand by turns, and their meters are read when their turn comes.
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>

#include "support/night.hpp"

namespace steadyglow::tests {
namespace {

using soak::Kind;

/// The tape deck of config/profiles: 3000 Hz, 95 mA, 580 mV and 22 W while it plays.
std::string deck_text() {
  std::ifstream file(std::string(STEADYGLOW_SOURCE_DIR) + "/config/profiles/skelby_4t.toml");
  return {std::istreambuf_iterator<char>(file), {}};
}

/// Plays sides of 45 min from the start on, and stands for 5 min after each.
Course by_sides(Course playing, double standing) {
  return [=](double s) { return std::fmod(s, 50.0 * minutes) < 45.0 * minutes ? playing(s) : standing; };
}

Night deck_night() {
  Night night(deck_text());
  night.point("speed_hz", by_sides(hold(3000.0), 0.0), 0.4).point("motor_ma", by_sides(hold(95.0), 4.0), 0.6);
  night.point("level_left_mv", by_sides(hold(580.0), 8.0), 1.5).point("level_right_mv", by_sides(hold(577.0), 8.0), 1.5);
  night.point("rail_v", hold(12.05), 0.003).point("motor_c", hold(35.0), 0.1).point("solenoid_c", hold(45.0), 0.1).point("room_c", hold(21.0), 0.03);
  night.point("mains_volts", hold(230.0), 0.1).point("mains_current", by_sides(hold(0.11), 0.05), 0.0005).point("mains_power", by_sides(hold(22.0), 9.0), 0.1);
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
  night.every("speed_hz", 60.0).point("level_left_mv", by_sides(stepping(hold(580.0), 6.0 * hours, 530.0), 8.0), 1.5);
  night.run_until(8.0 * hours);
  const std::string loud = night.loud();
  EXPECT_NE(loud.find("level_left_mv"), std::string::npos) << loud;
}

/// A tone that is silent in stop: no reading at all.
Night silent_from_to(double from, double until) {
  Night night = deck_night();
  night.missing("speed_hz", from, until).point("mains_power", [=](double s) { return s >= from && s < until ? 9.0 : by_sides(hold(22.0), 9.0)(s); }, 0.1);
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
