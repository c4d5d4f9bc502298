// The page inside the binary is the page of the sources, whole.
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <regex>
#include <set>
#include <string>

#include "dashboards/assets.hpp"

namespace steadyglow::dashboards {
namespace {

std::string source(const std::string& name) {
  std::ifstream file(std::string(STEADYGLOW_SOURCE_DIR) + "/dashboards/web/" + name, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

TEST(Assets, TheRootIsThePage) {
  const Asset* page = find_asset("/");
  ASSERT_NE(page, nullptr);
  EXPECT_EQ(page->content_type, "text/html; charset=utf-8");
  EXPECT_EQ(page->body, source("index.html"));
}

TEST(Assets, EveryByteOfAModuleIsThere) {
  const Asset* module = find_asset("/assets/words.js");
  ASSERT_NE(module, nullptr);
  EXPECT_EQ(module->content_type, "text/javascript; charset=utf-8");
  EXPECT_EQ(module->body, source("words.js"));
}

TEST(Assets, NothingElseIsFound) {
  EXPECT_EQ(find_asset("/index.html"), nullptr);
  EXPECT_EQ(find_asset("/assets/"), nullptr);
  EXPECT_EQ(find_asset("/assets/../index.html"), nullptr);
  EXPECT_EQ(find_asset(""), nullptr);
}

TEST(Assets, EveryTagIsQuotedAndItsOwn) {
  std::set<std::string_view> tags;
  for (const Asset& asset : assets()) {
    EXPECT_TRUE(asset.etag.size() > 2 && asset.etag.front() == '"' && asset.etag.back() == '"') << asset.path;
    EXPECT_TRUE(tags.insert(asset.etag).second) << asset.path;
  }
}

TEST(Assets, WhatThePageAndItsModulesNameIsThere) {
  const std::regex named(R"((?:(?:href|src)="(/assets/[^"]+)\")|(?:from "\./([^"]+)\"))");
  std::size_t count = 0;
  for (const Asset& asset : assets()) {
    if (asset.path.find("dygraph") != std::string_view::npos) continue;
    const std::string text(asset.body);
    for (auto it = std::sregex_iterator(text.begin(), text.end(), named); it != std::sregex_iterator(); ++it) {
      const std::string path = (*it)[1].matched ? (*it)[1].str() : "/assets/" + (*it)[2].str();
      EXPECT_NE(find_asset(path), nullptr) << asset.path << " names " << path;
      ++count;
    }
  }
  EXPECT_GT(count, 20u);
}

TEST(Assets, ThePageHasNoScriptOrStyleThatItsPolicyForbids) {
  const std::string page(find_asset("/")->body);
  EXPECT_FALSE(std::regex_search(page, std::regex(R"(<script(?![^>]*\ssrc=)|<style|\sstyle=|\son[a-z]+=)")));
}

}  // namespace
}  // namespace steadyglow::dashboards
