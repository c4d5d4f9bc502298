#include <gtest/gtest.h>

#include "profile/profile_toml.hpp"

namespace steadyglow::profile {
namespace {

const std::string good = R"(
[profile]
kind = "tube-pp-fixed-bias"
mains_nominal_volts = 230.0
[[point]]
name = "v1"
quantity = "voltage"
uom = "mV"
role = "bias"
nominal = 380.0
warn = { low = 300.0, high = 460.0 }
trip = { high = 570.0 }
matched_with = ["v2"]
[[point]]
name = "v2"
quantity = "voltage"
uom = "mV"
role = "bias"
)";

std::string first_mistake(const std::string& text) {
  Errors errors;
  const auto profile = parse_profile(text, "p.toml", errors);
  EXPECT_EQ(profile.has_value(), errors.empty());
  return errors.empty() ? "" : errors.front().text();
}

std::string with(std::string from, std::string to) {
  std::string text = good;
  text.replace(text.find(from), from.size(), to);
  return text;
}

TEST(Profile, AMatchHoldsBothWays) {
  Errors errors;
  const auto profile = parse_profile(good, "p.toml", errors);
  ASSERT_TRUE(profile.has_value());
  ASSERT_EQ(profile->points[1].matched_with.size(), 1u);
  EXPECT_EQ(profile->points[1].matched_with[0], PointId{0});
  EXPECT_TRUE(profile->points[0].is_protective);
}

TEST(Profile, NamesEachMistakeAtItsPlace) {
  EXPECT_NE(first_mistake(with("nominal = 380.0", "nominall = 380.0")).find("p.toml:10:1: error: unknown key `nominall` hint: did you mean `nominal`?"), std::string::npos);
  EXPECT_NE(first_mistake(with("uom = \"mV\"", "uom = \"ohm\"")).find("p.toml:8:7"), std::string::npos);
  EXPECT_NE(first_mistake(with("low = 300.0, high = 460.0", "low = 500.0, high = 460.0")).find("impossible"), std::string::npos);
  EXPECT_NE(first_mistake(with("high = 570.0", "high = 400.0")).find("before the warning"), std::string::npos);
  EXPECT_NE(first_mistake(with("[\"v2\"]", "[\"v22\"]")).find("did you mean `v2`?"), std::string::npos);
  EXPECT_NE(first_mistake(with("name = \"v2\"", "name = \"v1\"")).find("stands here twice"), std::string::npos);
  EXPECT_NE(first_mistake(with("nominal = 380.0", "nominal = 480.0")).find("would alarm at once"), std::string::npos);
}

TEST(Profile, RefusesATemperatureThatLostItsDecimalPoint) {
  const std::string text = "[profile]\nkind = \"x\"\n[[point]]\nname = \"sink\"\nquantity = \"temperature\"\nuom = \"Cel\"\nrole = \"heatsink\"\nwarn = { high = 850.0 }\n";
  EXPECT_NE(first_mistake(text).find("did you mean 85?"), std::string::npos) << first_mistake(text);
}

TEST(Profile, TakesAMetersAccuracyAsItsDataSheetSaysIt) {
  Errors errors;
  const auto profile = parse_profile(
      with("nominal = 380.0",
           "nominal = 380.0\naccuracy = { percent_of_reading = 0.5, counts = 3, resolution = 0.1, percent_of_range = 0.1, range = 1000.0, fixed = 1.5 }"),
      "p.toml", errors);
  ASSERT_TRUE(profile.has_value()) << errors.front().text();
  ASSERT_TRUE(profile->points[0].accuracy.has_value());
  const Accuracy& accuracy = *profile->points[0].accuracy;
  EXPECT_EQ(accuracy.percent_of_reading, 0.5);
  EXPECT_EQ(accuracy.counts, 3.0);
  EXPECT_EQ(accuracy.resolution, 0.1);
  EXPECT_EQ(accuracy.percent_of_range, 0.1);
  EXPECT_EQ(accuracy.range, 1000.0);
  EXPECT_EQ(accuracy.fixed, 1.5);
  EXPECT_FALSE(profile->points[1].accuracy.has_value());
}

TEST(Profile, WantsAWholeAccuracyStatement) {
  const auto mistake = [](const std::string& accuracy) { return first_mistake(with("nominal = 380.0", "nominal = 380.0\naccuracy = " + accuracy)); };
  EXPECT_NE(mistake("{ percent_of_reading = 0.5, counts = 3 }").find("p.toml:11:12: error: `counts` without `resolution`"), std::string::npos)
      << mistake("{ percent_of_reading = 0.5, counts = 3 }");
  EXPECT_NE(mistake("{ percent_of_range = 0.1 }").find("add range"), std::string::npos);
  EXPECT_NE(mistake("{ fixed = 1.0, range = 100.0 }").find("leave range out"), std::string::npos);
  EXPECT_NE(mistake("{ }").find("says nothing"), std::string::npos);
  EXPECT_NE(mistake("{ percent_of_reading = 0.0 }").find("says nothing"), std::string::npos);
  EXPECT_NE(mistake("{ percent_of_reading = -0.5 }").find("p.toml:11:35"), std::string::npos) << mistake("{ percent_of_reading = -0.5 }");
  EXPECT_NE(mistake("{ percent_of_readin = 0.5 }").find("did you mean `percent_of_reading`?"), std::string::npos);
  EXPECT_NE(mistake("0.5").find("p.toml:11:12"), std::string::npos) << mistake("0.5");
}

TEST(Profile, ReportsAMistakenAccuracyOnce) {
  Errors errors;
  EXPECT_FALSE(parse_profile(with("nominal = 380.0", "nominal = 380.0\naccuracy = { counts = 3, resolution = -0.1 }"), "p.toml", errors).has_value());
  EXPECT_EQ(errors.size(), 1u);
}

TEST(Plan, WantsABaselineBeforeCountedHours) {
  Errors errors;
  EXPECT_FALSE(parse_plan("[plan]\ntitle = \"x\"\n[[stage]]\nkind = \"idle_soak\"\nminutes = 60\n", "l.toml", errors).has_value());
  ASSERT_FALSE(errors.empty());
  EXPECT_NE(errors[0].text().find("before the baseline"), std::string::npos);
}

TEST(Plan, SumsWhatCounts) {
  Errors errors;
  const auto plan = parse_plan("[plan]\ntitle = \"x\"\n[[stage]]\nkind = \"warm_up\"\nminutes = 60\n[[stage]]\nkind = \"baseline\"\nminutes = 30\n[[stage]]\nkind = \"idle_soak\"\nminutes = 90\n", "l.toml", errors);
  ASSERT_TRUE(plan.has_value()) << errors.front().text();
  EXPECT_EQ(plan->counted_planned(), std::chrono::minutes{90});
}

TEST(Plan, ReadsPowerCyclesAndRefusesOnesThatAreTooShortToSee) {
  const auto plan_with = [](const std::string& cycles, Errors& errors) {
    return parse_plan("[plan]\ntitle = \"x\"\nbleed_down_minutes = 8\n[[stage]]\nkind = \"baseline\"\nminutes = 30\n[[stage]]\nkind = \"idle_soak\"\nminutes = 90\n[[stage]]\nkind = \"power_cycles\"\n" + cycles, "l.toml", errors);
  };
  Errors errors;
  const auto plan = plan_with("cycles = 5\non_minutes = 90\noff_minutes = 30\n", errors);
  ASSERT_TRUE(plan.has_value()) << errors.front().text();
  EXPECT_EQ(plan->stages[2].planned, std::chrono::hours{10});
  EXPECT_EQ(plan->bleed_down, std::chrono::minutes{8});
  EXPECT_FALSE(plan_with("cycles = 5\non_minutes = 2\noff_minutes = 30\n", errors).has_value());
  EXPECT_FALSE(plan_with("cycles = 5\non_minutes = 90\n", errors).has_value());
}

}  // namespace
}  // namespace steadyglow::profile
