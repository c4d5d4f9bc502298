#include "http/json.hpp"

#include <gtest/gtest.h>

#include <fstream>
#include <limits>
#include <map>
#include <nlohmann/json.hpp>
#include <regex>
#include <set>
#include <sstream>
#include <string>

#include "http/sample_bench.hpp"

namespace steadyglow::http {
namespace {

using Json = nlohmann::ordered_json;

/// The first example under each heading of API.md; names of further headings stand for the objects there.
std::map<std::string, Json> examples() {
  std::ifstream file(STEADYGLOW_SOURCE_DIR "/daemon/http/API.md");
  std::map<std::string, Json> found;
  std::string heading, block;
  bool is_inside = false;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with("## ")) heading = line.substr(3);
    if (line == "```" && is_inside) {
      block = std::regex_replace(block, std::regex(R"(\[[a-z_]+\])"), "[]");
      for (const std::string word : {" alarm_figures,", " notify\n"})
        if (const auto at = block.find(word); at != std::string::npos) block.replace(at, word.size(), word.back() == ',' ? "[]," : "[]");
      found.emplace(heading, Json::parse(block));
      is_inside = false;
    }
    if (is_inside) block += line + "\n";
    if (line == "```json") {
      is_inside = true;
      block.clear();
    }
  }
  return found;
}

/// Every path of keys, in order: "run.stages[].kind".
std::string paths(const Json& json, const std::string& prefix = {}) {
  std::string all;
  if (json.is_array() && !json.empty()) return paths(json.front(), prefix + "[]");
  if (!json.is_object()) return all;
  for (const auto& [key, value] : json.items()) {
    const std::string path = prefix.empty() ? key : prefix + "." + key;
    all += path + "\n" + paths(value, path);
  }
  return all;
}

TEST(Json, ABenchHasTheKeysOfTheDocumentInItsOrder) {
  Json bench = to_json(sample_bench());
  for (const char* part : {"units", "alarms", "benches", "incidents"}) bench[part] = Json::array();
  bench["alarm_figures"] = bench["notify"] = Json::array();
  EXPECT_EQ(paths(bench), paths(examples().at("bench")));
}

TEST(Json, AUnitHasTheKeysOfTheDocumentInItsOrder) { EXPECT_EQ(paths(to_json(sample_unit())), paths(examples().at("unit"))); }

TEST(Json, AnAlarmHasTheKeysOfTheDocumentInItsOrder) { EXPECT_EQ(paths(to_json(sample_alarm())), paths(examples().at("alarm"))); }

TEST(Json, TheOtherPartsHaveTheKeysOfTheDocumentInItsOrder) {
  IncidentView incident;
  incident.units = {"brindlecombe35"};
  incident.alarms = {7};
  incident.told.emplace_back();
  NotifyView notify;
  notify.routes.emplace_back();
  EXPECT_EQ(paths(to_json(SupplyView{})), paths(examples().at("supply")));
  EXPECT_EQ(paths(to_json(incident)), paths(examples().at("incident")));
  EXPECT_EQ(paths(to_json(AlarmFiguresView{})), paths(examples().at("alarm_figures")));
  EXPECT_EQ(paths(to_json(notify)), paths(examples().at("notify")));
}

TEST(Json, TheDocumentsExamplesHaveTheTypesThatAreServed) {
  const auto types = [](const Json& json) {
    std::map<std::string, std::string> found;
    const Json flat = json.flatten();
    for (const auto& [path, value] : flat.items())
      if (!value.is_null()) found[path] = value.is_number() ? "number" : value.type_name();
    return found;
  };
  const auto served = types(to_json(sample_unit()));
  for (const auto& [path, type] : types(examples().at("unit")))
    EXPECT_TRUE(!served.contains(path) || served.at(path) == type) << path;
}

TEST(Json, WhatIsNotThereIsNullAndNeverZero) {
  UnitView unit = sample_unit();
  unit.run.reset();
  unit.worst.reset();
  const Json json = to_json(unit);
  EXPECT_TRUE(json["run"].is_null());
  EXPECT_TRUE(json["worst"].is_null());
  EXPECT_TRUE(json["points"][1]["value"].is_null());
  EXPECT_TRUE(json["points"][0]["trip_low"].is_null());
}

TEST(Json, ANumberThatIsNotFiniteIsWrittenAsNull) {
  PointView point = sample_point("a", "voltage", "V", std::numeric_limits<double>::quiet_NaN());
  EXPECT_NE(to_line(to_json(point)).find("\"value\":null"), std::string::npos);
}

TEST(Json, BytesThatAreNoUtf8DoNotStopAnAnswer) {
  EXPECT_EQ(to_line(Json{{"error", "a\xff"}}), "{\"error\":\"a\xEF\xBF\xBD\"}");
}

}  // namespace
}  // namespace steadyglow::http
