#include <gtest/gtest.h>

#include <filesystem>

#include "demo/bench/night.hpp"
#include "flat_night.hpp"

namespace steadyglow::demo {
namespace {

std::string mistakes(const std::string& text) {
  Errors errors;
  const auto night = parse_night(text, "a.toml", errors);
  EXPECT_NE(night.has_value(), !errors.empty());
  std::string all;
  for (const Error& error : errors) all += error.text() + "\n";
  return all;
}

const std::string fault = "[[fault]]\nunit = \"brindlecombe35\"\nkind = \"gassy_tube\"\nat = \"02:00\"\ntube = 3\ndoubling_minutes = 20\n";

std::string with(std::string text, const std::string& what, const std::string& by) {
  const auto place = text.find(what);
  if (place == std::string::npos) throw std::runtime_error(what + " is not there");
  return text.replace(place, what.size(), by);
}

TEST(NightFile, EveryNightOfTheDemoIsGood) {
  int count = 0;
  for (const auto& entry : std::filesystem::directory_iterator(std::string(STEADYGLOW_SOURCE_DIR) + "/demo/nights")) {
    EXPECT_EQ(mistakes(source_file("demo/nights/" + entry.path().filename().string())), "") << entry.path();
    ++count;
  }
  EXPECT_GE(count, 3);
}

TEST(NightFile, TimesOfDayCountFromTheStart) {
  const Night night = night_of(flat(230.0, 23.0, fault));
  EXPECT_EQ(night.faults.at(0).at, 6 * 3600.0);
  EXPECT_EQ(time_of_day(night, 6 * 3600.0 + 61.0), "02:01:01");
}

TEST(NightFile, AnUnknownKeyIsNamedWithItsPlace) {
  const std::string said = mistakes(flat(230.0, 23.0, fault + "tubes = 2\n"));
  EXPECT_NE(said.find("a.toml:23:1: error:"), std::string::npos) << said;
  EXPECT_NE(said.find("`tubes`"), std::string::npos) << said;
}

TEST(NightFile, AllMistakesComeAtOnce) {
  const std::string said = mistakes(with(with(flat(230.0, 23.0, with(fault, "tube = 3", "tube = 9")), "\"20:00\"", "\"8 pm\""), "wander_volts = 0", "wander_volts = -1"));
  EXPECT_EQ(std::count(said.begin(), said.end(), '\n'), 3) << said;
  EXPECT_NE(said.find("`8 pm` is no time of day"), std::string::npos) << said;
}

TEST(NightFile, AMistypedUnitMeetsAHint) {
  const std::string said = mistakes(with(flat(), "\"hollin_p4\"", "\"holin_p4\""));
  EXPECT_NE(said.find("did you mean `hollin_p4`?"), std::string::npos) << said;
}

TEST(NightFile, AFaultOfAUnitThatIsAbsentIsRefused) {
  const std::string said = mistakes(with(flat(230.0, 23.0, fault), "\"brindlecombe35\", ", ""));
  EXPECT_NE(said.find("not on the bench this night"), std::string::npos) << said;
}

TEST(NightFile, AFaultThatAUnitCannotHaveIsRefused) {
  const std::string said = mistakes(flat(230.0, 23.0, with(fault, "\"brindlecombe35\"", "\"hollin_p4\"")));
  EXPECT_NE(said.find("it belongs to brindlecombe35"), std::string::npos) << said;
}

TEST(NightFile, AWrongTypeAndAMissingTableAreNamed) {
  EXPECT_NE(mistakes(with(flat(), "seed = 7", "seed = \"seven\"")).find("a.toml:6:8"), std::string::npos);
  EXPECT_NE(mistakes("units = [\"hollin_p4\"]\n").find("there is no [mains] table"), std::string::npos);
}

TEST(NightFile, BrokenTomlIsOneMistakeWithItsPlace) {
  const std::string said = mistakes("units = [\n[night\n");
  EXPECT_EQ(said.rfind("a.toml:2:", 0), 0u) << said;
}

TEST(NightFile, LateAnswersNeedADelay) {
  EXPECT_NE(mistakes(flat(230.0, 23.0, "[link]\nlate_per_thousand = 1\n")).find("late_seconds"), std::string::npos);
}

}  // namespace
}  // namespace steadyglow::demo
