/// Every night in nights/ and kinds/ becomes a test, and a second one for the same night without its fault.
/// STEADYGLOW_SCENARIO_FOLDER names another folder beside them (one that waits, say).
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <set>

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

std::vector<std::string> files_to_play() {
  const char* other = std::getenv("STEADYGLOW_SCENARIO_FOLDER");
  if (other != nullptr) return files_of_folder(std::string("tests/scenarios/") + other);
  std::vector<std::string> files = files_of_folder("tests/scenarios/nights");
  const std::vector<std::string> kinds = files_of_folder("tests/scenarios/kinds");
  files.insert(files.end(), kinds.begin(), kinds.end());
  return files;
}

Scenario good_scenario(const std::string& file) {
  Errors errors;
  auto scenario = read_scenario(text_of(file), file, root, errors);
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  return scenario ? std::move(*scenario) : Scenario{};
}

std::string all_of(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += "\n  " + line;
  return text;
}

class ScenarioTest : public testing::TestWithParam<std::string> {};

TEST_P(ScenarioTest, IsSeenAsATechnicianWould) {
  const Scenario scenario = good_scenario(GetParam());
  ASSERT_FALSE(scenario.title.empty());
  const auto wrong = play(scenario, false);
  EXPECT_TRUE(wrong.empty()) << scenario.title << all_of(wrong);
}

TEST_P(ScenarioTest, IsSilentWithoutItsFault) {
  const Scenario scenario = good_scenario(GetParam());
  ASSERT_FALSE(scenario.title.empty());
  if (!scenario.has_fault || !scenario.has_twin) return;  // it is a healthy night itself, or says why it has no twin
  const auto wrong = play(scenario, true);
  EXPECT_TRUE(wrong.empty()) << scenario.title << all_of(wrong);
}

INSTANTIATE_TEST_SUITE_P(Files, ScenarioTest, testing::ValuesIn(files_to_play()), [](const auto& file) {
  std::string name = std::filesystem::path(file.param).parent_path().filename().string() + "_" + std::filesystem::path(file.param).stem().string();
  std::replace_if(name.begin(), name.end(), [](unsigned char c) { return std::isalnum(c) == 0; }, '_');
  return name;
});

TEST(Scenarios, TheOnesThatWaitAreWellFormedAndSayWhy) {
  for (const std::string& file : files_of_folder("tests/scenarios/pending")) {
    EXPECT_NE(text_of(file).find("\n# Waits: "), std::string::npos) << file;
    EXPECT_FALSE(good_scenario(file).title.empty()) << file;
  }
}

}  // namespace
}  // namespace steadyglow::scenarios
