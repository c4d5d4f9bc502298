#include "app/starter.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "app/settings.hpp"

namespace steadyglow::app {
namespace {

namespace fs = std::filesystem;

constexpr const char* module = R"([instrument]
title = "found module"
protocol = "modbus"
[[channel]]
name = "ch1"
table = "input"
address = 0
type = "int16"
scale = 0.001
quantity = "voltage"
uom = "V"
[[channel]]
name = "t1"
table = "input"
address = 1
type = "int16"
scale = 0.1
quantity = "temperature"
uom = "Cel"
)";

constexpr const char* one_bus = R"([[bus]]
name = "found"
driver = "modbus_tcp"
host = "127.0.0.1"
port = 1502
[[bus.meter]]
name = "module"
instrument = "found_module"
address = 1
)";

StarterParts parts(const std::string& bus = one_bus) { return {"bus.toml", bus, {{"found_module", {"here/found_module.toml", module}}}, {}, "127.0.0.1:8460"}; }

TEST(Starter, WhatItWritesIsAConfigurationThatTheDaemonTakes) {
  Errors errors;
  const auto files = starter_files(parts(), errors);
  ASSERT_TRUE(errors.empty()) << errors[0].text();
  const fs::path folder = fs::path(testing::TempDir()) / "starter";
  fs::remove_all(folder);
  for (const StarterFile& file : files) {
    fs::create_directories((folder / file.name).parent_path());
    std::ofstream(folder / file.name) << file.text;
  }
  const auto settings = load_settings((folder / starter_config).string(), errors);
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  ASSERT_TRUE(settings);
  ASSERT_EQ(settings->units.size(), 1U);
  ASSERT_EQ(settings->units[0].profile.points.size(), 2U);
  EXPECT_EQ(settings->units[0].profile.points[1].name, "t1");
  EXPECT_FALSE(settings->units[0].outlet);
  fs::remove_all(folder);
}

TEST(Starter, NoPointOfItHasALimitOrIsProtective) {
  Errors errors;
  for (const StarterFile& file : starter_files(parts(), errors)) {
    if (!file.name.starts_with("profiles/")) continue;
    EXPECT_EQ(file.text.find("trip ="), std::string::npos);
    EXPECT_EQ(file.text.find("protective = true"), std::string::npos);
  }
}

TEST(Starter, TwoMetersOfOneKindGiveTheirPointsDifferentNames) {
  Errors errors;
  const auto files = starter_files(parts(std::string(one_bus) + "[[bus.meter]]\nname = \"other\"\ninstrument = \"found_module\"\naddress = 2\n"), errors);
  ASSERT_TRUE(errors.empty()) << errors[0].text();
  EXPECT_NE(files[0].text.find("name = \"other_ch1\"\nchannel = \"other.ch1\""), std::string::npos);
}

TEST(Starter, AnInstrumentThatWasNotGivenIsAMistakeWithAHint) {
  Errors errors;
  StarterParts without = parts();
  without.instruments.clear();
  EXPECT_TRUE(starter_files(without, errors).empty());
  ASSERT_EQ(errors.size(), 1U);
  EXPECT_NE(errors[0].text().find("--instrument"), std::string::npos) << errors[0].text();
}

TEST(Starter, TheLinesOfAScanAreEnough) {
  Errors errors;
  const auto files = starter_files(parts_of({"driver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = 1502\n", 7, "channels.toml",
                                             "[[channel]]\nname = \"r12\"\ntable = \"input\"\naddress = 12\ntype = \"int32\"\nword_order = \"CDAB\"\nscale = 1e-06\nquantity = \"voltage\"\nuom = \"V\"\n"}),
                                   errors);
  for (const Error& error : errors) ADD_FAILURE() << error.text();
  ASSERT_EQ(files.size(), 4U);
  EXPECT_NE(files[0].text.find("address = 7"), std::string::npos);
  EXPECT_NE(files[0].text.find("channel = \"module_1.r12\""), std::string::npos);
  EXPECT_EQ(files[3].name, "instruments/found-module.toml");
}

TEST(Starter, AMistakeInTheLinesOfAScanIsToldInTheirFileAndLine) {
  Errors errors;
  EXPECT_TRUE(starter_files(parts_of({"driver = \"modbus_tcp\"\nhost = \"127.0.0.1\"\nport = 1502\n", 7, "my/channels.toml",
                                      "[[channel]]\nname = \"r12\"\ntable = \"input\"\naddress = 12\ntype = \"int17\"\nquantity = \"voltage\"\nuom = \"V\"\n"}),
                            errors)
                  .empty());
  ASSERT_FALSE(errors.empty());
  EXPECT_TRUE(errors[0].where.starts_with("my/channels.toml:5:")) << errors[0].text();
}

TEST(Starter, ATextWithoutABusIsRefused) {
  Errors errors;
  EXPECT_TRUE(starter_files(parts("[daemon]\n"), errors).empty());
  EXPECT_FALSE(errors.empty());
}

}  // namespace
}  // namespace steadyglow::app
