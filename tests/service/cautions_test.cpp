/// The cautions that a person accepts are those of SAFETY.md, word for word; and each of that page says where it comes from.
#include "app/cautions.hpp"

#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <regex>
#include <set>
#include <string>
#include <vector>

namespace steadyglow::app {
namespace {

std::string text_of(const std::string& file) {
  std::ifstream in(std::string(STEADYGLOW_SOURCE_DIR) + "/" + file);
  return {std::istreambuf_iterator<char>(in), {}};
}

std::string part(const std::string& text, const std::string& heading) {
  const std::size_t begin = text.find("## " + heading + "\n");
  if (begin == std::string::npos) return {};
  return text.substr(begin, text.find("\n## ", begin) - begin);
}

TEST(Cautions, TheShortListOfThePageIsTheOneThatIsAccepted) {
  const std::string list = part(text_of("SAFETY.md"), "The short list");
  const std::regex line("\n- `([a-z_]+)`: (.+) \\[(sourced|from memory): [^\n]+\\]");
  std::vector<std::string> found;
  for (std::sregex_iterator one(list.begin(), list.end(), line), end; one != end; ++one) found.push_back((*one)[1].str() + ": " + (*one)[2].str());
  std::vector<std::string> shown;
  for (const Caution& caution : cautions()) shown.push_back(caution.key + ": " + caution.sentence);
  EXPECT_EQ(found, shown);
}

TEST(Cautions, EachHasAKeyOfItsOwn) {
  std::set<std::string> keys;
  for (const Caution& caution : cautions()) EXPECT_TRUE(keys.insert(caution.key).second) << caution.key;
  for (const char* needed : {"live", "discharge", "fire", "not_a_safety_device", "rehearsal", "alone", "code"}) EXPECT_TRUE(keys.contains(needed)) << needed;
}

TEST(Cautions, EveryCautionOfThePageSaysWhereItComesFrom) {
  const std::string page = text_of("SAFETY.md");
  const std::string cautions_of_page = page.substr(page.find("## The short list"));
  const std::regex bullet("\n- ((?:[^\n]|\n(?!\n|- |#|\\|))+)");
  const std::regex mark("\\[(sourced: [^\\]]+|from memory: a licensed person must confirm[^\\]]*|what the program does[^\\]]*)\\]\\s*$");
  int count = 0;
  for (std::sregex_iterator one(cautions_of_page.begin(), cautions_of_page.end(), bullet), end; one != end; ++one, ++count) {
    const std::string text = std::regex_replace((*one)[1].str(), std::regex("\\s+"), " ");
    EXPECT_TRUE(std::regex_search(text, mark)) << text;
  }
  EXPECT_GE(count, 40);
}

TEST(Cautions, ThePageAndTheReadmeDeferToCodeAndPractice) {
  for (const char* file : {"SAFETY.md", "README.md"}) {
    std::string text = std::regex_replace(text_of(file), std::regex("[\\s>]+"), " ");
    EXPECT_NE(text.find("local electrical code"), std::string::npos) << file;
    EXPECT_NE(text.find("licensed practice"), std::string::npos) << file;
    EXPECT_TRUE(std::regex_search(text, std::regex("(not a|no) safety device"))) << file;
  }
}

}  // namespace
}  // namespace steadyglow::app
