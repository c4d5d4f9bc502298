/// Every file in nights/ and kinds/ becomes a test, and a second one for the same night without its fault; of the ones in
/// pending/ only the second is run. STEADYGLOW_SCENARIO_FOLDER=pending runs that folder alone, and whole.
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>

#include "core/decimal.hpp"
#include "scenarios/scenario.hpp"

namespace steadyglow::scenarios {
namespace {

const std::string root = STEADYGLOW_SOURCE_DIR;

std::string text_of(const std::string& file) {
  std::ifstream in(root + "/" + file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::vector<std::string> files_of_folder(const std::string& folder) {
  std::vector<std::string> files;
  if (!std::filesystem::is_directory(root + "/" + folder)) return files;
  for (const auto& entry : std::filesystem::directory_iterator(root + "/" + folder))
    if (entry.path().extension() == ".toml") files.push_back(folder + "/" + entry.path().filename().string());
  std::sort(files.begin(), files.end());
  return files;
}

/// Of these folders, or of the one that the environment names.
std::vector<std::string> files_of(std::vector<std::string> folders) {
  if (const char* other = std::getenv("STEADYGLOW_SCENARIO_FOLDER")) folders = {other};
  std::vector<std::string> files;
  for (const std::string& folder : folders)
    for (const std::string& file : files_of_folder("tests/scenarios/" + folder)) files.push_back(file);
  return files;
}

Scenario good_scenario(const std::string& file) {
  Errors errors;
  auto scenario = read_scenario(text_of(file), file, root, errors);
  if (const char* text = std::getenv("STEADYGLOW_SCENARIO_SEED"); text != nullptr && scenario) {
    const auto seed = parse_decimal(text);
    EXPECT_TRUE(seed.has_value()) << "STEADYGLOW_SCENARIO_SEED=" << text << " is no number";
    scenario->seed = static_cast<unsigned>(seed.value_or(1.0));
  }
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  return scenario ? std::move(*scenario) : Scenario{};
}

std::string all_of(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += "\n  " + line;
  return text;
}

/// Plays it once; the scenario's title and all that went wrong end in the test's report.
void expect_good(const Scenario& scenario, const Manner& manner) {
  const auto wrong = play(scenario, manner);
  EXPECT_TRUE(wrong.empty()) << scenario.title << ", every " << manner.sampling.value_or(scenario.sampling) << " s" << (manner.is_bus_rough ? ", over a rough bus" : "") << (manner.has_turns ? ", each in its turn" : "") << all_of(wrong);
}

class ScenarioTest : public testing::TestWithParam<std::string> {
 protected:
  void SetUp() override {
    scenario = good_scenario(GetParam());
    ASSERT_FALSE(scenario.title.empty());
  }
  Scenario scenario;
};

TEST_P(ScenarioTest, IsSeenAsATechnicianWould) { expect_good(scenario, {}); }

TEST_P(ScenarioTest, IsSeenTheSameOverARoughBus) {
  if (scenario.stands_rough_bus) expect_good(scenario, {.is_bus_rough = true});
}

TEST_P(ScenarioTest, IsSeenTheSameAtOtherDistancesOfReadings) {
  for (const double seconds : scenario.also_sampled) expect_good(scenario, {.sampling = seconds});
}

TEST_P(ScenarioTest, IsSeenTheSameWhenEachPointIsReadInItsTurn) {
  expect_good(scenario, {.has_turns = true});
  for (const double seconds : scenario.also_sampled) expect_good(scenario, {.sampling = seconds, .has_turns = true});
}

/// A night without a [fault] is healthy itself; one that has no twin says so.
class HealthyTwinTest : public ScenarioTest {};

TEST_P(HealthyTwinTest, IsSilent) {
  if (scenario.has_fault && scenario.has_twin) expect_good(scenario, {.is_healthy_twin = true});
}

TEST_P(HealthyTwinTest, IsSilentAtOtherDistancesOfReadings) {
  if (!scenario.has_fault || !scenario.has_twin) return;
  for (const double seconds : scenario.also_sampled) expect_good(scenario, {.is_healthy_twin = true, .sampling = seconds});
}

TEST_P(HealthyTwinTest, IsSilentOverARoughBus) {
  if (scenario.has_fault && scenario.has_twin && scenario.stands_rough_bus) expect_good(scenario, {.is_healthy_twin = true, .is_bus_rough = true});
}

TEST_P(HealthyTwinTest, IsSilentWhenEachPointIsReadInItsTurn) {
  if (!scenario.has_fault || !scenario.has_twin) return;
  expect_good(scenario, {.is_healthy_twin = true, .has_turns = true});
  for (const double seconds : scenario.also_sampled) expect_good(scenario, {.is_healthy_twin = true, .sampling = seconds, .has_turns = true});
}

/// "nights_clip_falls" for tests/scenarios/nights/clip_falls.toml.
std::string test_name(const testing::TestParamInfo<std::string>& info) {
  const std::filesystem::path path(info.param);
  std::string name = path.parent_path().filename().string() + "_" + path.stem().string();
  std::replace_if(name.begin(), name.end(), [](unsigned char c) { return std::isalnum(c) == 0; }, '_');
  return name;
}

INSTANTIATE_TEST_SUITE_P(Files, ScenarioTest, testing::ValuesIn(files_of({"nights", "kinds"})), test_name);
INSTANTIATE_TEST_SUITE_P(Files, HealthyTwinTest, testing::ValuesIn(files_of({"nights", "kinds", "pending"})), test_name);

TEST(Scenarios, TheOnesThatWaitAreWellFormedAndSayWhy) {
  for (const std::string& file : files_of_folder("tests/scenarios/pending")) {
    EXPECT_NE(text_of(file).find("\n# Waits: "), std::string::npos) << file;
    EXPECT_FALSE(good_scenario(file).title.empty()) << file;
  }
}

TEST(Scenarios, OneThatDoesNotStandARoughBusSaysWhatItWaitsFor) {
  for (const char* folder : {"nights", "kinds", "pending"})
    for (const std::string& file : files_of_folder(std::string("tests/scenarios/") + folder))
      if (!good_scenario(file).stands_rough_bus) { EXPECT_NE(text_of(file).find("rough_bus = false  # waits: "), std::string::npos) << file; }
}

TEST(Scenarios, TheTenNightsAreAllHere) {
  std::string missing;
  for (const char* night : {"one_tube_runs", "mains_step", "clip_falls", "power_cut", "bias_supply_slips", "cold_night_then_a_cloth", "ports_reset", "tape_slows", "relay_welds", "trimmed_at_night"}) {
    const auto stands_in = [&](const std::string& folder) { return std::filesystem::exists(root + "/tests/scenarios/" + folder + "/" + night + ".toml"); };
    if (!stands_in("nights") && !stands_in("pending")) missing += std::string(" ") + night;
  }
  EXPECT_EQ(missing, "");
}

TEST(Scenarios, EveryProfileHasOne) {
  std::set<std::string> played;
  for (const char* folder : {"nights", "kinds", "pending"})
    for (const std::string& file : files_of_folder(std::string("tests/scenarios/") + folder)) played.insert(good_scenario(file).profile_name);
  std::string without;
  for (const std::string& file : files_of_folder("config/profiles"))
    if (!played.contains(std::filesystem::path(file).stem().string())) without += " " + file;
  EXPECT_EQ(without, "");
}

}  // namespace
}  // namespace steadyglow::scenarios
