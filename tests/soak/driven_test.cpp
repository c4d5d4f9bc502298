/// Units that are driven, and rooms that are measured late.
#include <gtest/gtest.h>

#include "support/night.hpp"

namespace steadyglow::tests {
namespace {

using soak::Kind;

/// A class AB pair with its watts; drive as given.
std::string class_ab(const std::string& drive) {
  return "[profile]\nkind = \"class-ab\"\nmains_nominal_volts = 230.0\ndrive = \"" + drive + R"("
[[point]]
name = "left_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 10.0
matched_with = ["right_mv"]
[[point]]
name = "right_mv"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 10.0
[[point]]
name = "sink_c"
quantity = "temperature"
uom = "Cel"
role = "heatsink"
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
[[point]]
name = "room_c"
quantity = "temperature"
uom = "Cel"
role = "ambient"
)";
}

/// Loud and soft without order, and a quarter of a minute of silence in every fifth.
double loudness(double s) {
  if (std::fmod(s, 300.0) < 20.0) return 0.0;
  return 0.5 + 0.45 * std::sin(s / 7.0) * std::sin(s / 31.0);
}

Night under_music(Course left) {
  Night night(class_ab("programme"));
  const auto with_music = [](Course idle) { return [=](double s) { return idle(s) + 60.0 * loudness(s); }; };
  night.point("left_mv", with_music(std::move(left)), 0.05).point("right_mv", with_music(hold(9.8)), 0.05);
  night.point("mains_w", [](double s) { return 60.0 + 90.0 * loudness(s); }, 0.2).point("mains_v", hold(230.0), 0.1);
  night.point("room_c", hold(21.0), 0.03).point("sink_c", thermal(hold(21.0), hold(22.0), 1500.0), 0.05);
  return night;
}

TEST(Programme, MusicIsNoNews) {
  Night night = under_music(hold(10.1));
  night.run_until(12.0 * hours);
  EXPECT_EQ(night.loud(), "");
}

TEST(Programme, AnIdleCurrentThatIsGoneIsToldOnceAndAgainOnlyWhenItIsBack) {
  Night night = under_music(hold(10.1));
  night.run_until(8.0 * hours);
  EXPECT_EQ(night.loud(), "");
  night.point("left_mv", hold(0.1), 0.02);  // an emitter resistor opens: no music in it either
  night.run_until(12.0 * hours);
  const auto steps = night.findings(Kind::step);
  ASSERT_EQ(steps.size(), 1u) << night.loud();
  EXPECT_EQ(night.name(steps[0]), "left_mv");
  EXPECT_LT(seconds_of(steps[0].at), 8.1 * hours);
}

TEST(Programme, AnIdleCurrentThatCreepsIsFoundInItsQuietMoments) {
  Night night = under_music(ramp(hold(10.1), 6.0 * hours, 1.0));
  night.run_until(11.0 * hours);
  const auto drifts = night.findings(Kind::drift);
  ASSERT_FALSE(drifts.empty()) << night.loud();
  EXPECT_EQ(night.name(drifts[0]), "left_mv");
}

// The tone is turned up in hour 4: everything that follows the drive jumps together. That is a hand, and is said as one.
TEST(Steady, AChangedDriveIsAStageAndNoAlarm) {
  Night night(class_ab("steady"));
  const auto driven = [](double idle, double loud) { return [=](double s) { return s < 4.0 * hours ? idle : loud; }; };
  night.point("left_mv", driven(10.1, 40.0), 0.05).point("right_mv", driven(9.8, 39.0), 0.05).point("mains_w", driven(60.0, 140.0), 0.2);
  night.point("mains_v", hold(230.0), 0.1).point("room_c", hold(21.0), 0.03).point("sink_c", thermal(hold(21.0), driven(22.0, 30.0), 1500.0), 0.05);
  night.run_until(8.0 * hours);
  EXPECT_EQ(night.loud(), "");
  bool is_told = false;
  for (const auto& change : night.all<soak::StageChange>()) is_told = is_told || change.text.find("drive changed") != std::string::npos;
  EXPECT_TRUE(is_told);
}

// A thermometer on a slow bus: in some minutes nobody reads the room. Its last figure stands for them, not none.
TEST(Room, OneThatIsReadSeldomMovesNoTemperature) {
  Night night(class_ab("idle"));
  const auto room = [](double s) { return 24.0 - 0.5 * s / hours; };
  night.point("left_mv", hold(10.1), 0.05).point("right_mv", hold(9.8), 0.05).point("mains_w", hold(60.0), 0.2).point("mains_v", hold(230.0), 0.1);
  night.point("room_c", room, 0.03).every("room_c", 150.0).point("sink_c", thermal(room, hold(22.0), 1500.0), 0.05);
  const PointId sink = *night.engine.profile().find("sink_c");
  const auto& watch = night.engine.points()[sink.index];
  night.run_until(3.0 * hours);
  EXPECT_EQ(watch.settling.state, analysis::SettlingState::settled);
  double least = 99.0;
  double most = -99.0;
  std::vector<std::int64_t> minutes_read;
  std::vector<double> hours_read;
  std::vector<double> rises;
  watch.columns(std::chrono::minutes{60}, minutes_read, hours_read, rises);
  for (const double rise : rises) least = std::min(least, rise), most = std::max(most, rise);
  EXPECT_GT(least, 20.0);
  EXPECT_LT(most, 24.0);
}

TEST(Room, ASensorThatAnswersLateChangesNothing) {
  Night night(class_ab("idle"));
  const auto room = [](double s) { return 24.0 - 1.0 * s / hours / 2.0; };
  night.point("left_mv", hold(10.1), 0.05).point("right_mv", hold(9.8), 0.05).point("mains_w", hold(60.0), 0.2).point("mains_v", hold(230.0), 0.1);
  night.point("room_c", room, 0.03).point("sink_c", thermal(room, hold(22.0), 1500.0), 0.05);
  night.missing("room_c", 0.0, 2.6 * hours);
  night.run_until(12.0 * hours);
  for (const Kind kind : {Kind::rise, Kind::drift, Kind::runaway, Kind::step}) EXPECT_TRUE(night.findings(kind).empty()) << night.loud();
}

}  // namespace
}  // namespace steadyglow::tests
