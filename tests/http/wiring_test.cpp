/// Setting up, as it comes over the wire: devices, searches for meters, clips and touches.
#include <gtest/gtest.h>

#include <string>
#include <tuple>

#include "http/running_server.hpp"

namespace steadyglow::http {
namespace {

constexpr const char* look = "/api/v1/wiring/look";

TEST(WiringRequests, DevicesAreListedOffTheLoop) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.get("/api/v1/wiring/devices")).status, 200);
  EXPECT_EQ(running.asked_document.what, "wiring");
  EXPECT_EQ(running.asked_document.name, "devices");
}

TEST(WiringRequests, WhatIsKnownOfASearchAndOfAUnitsClipsIsAsked) {
  RunningServer running;
  for (const auto& [target, what, name] : {std::tuple{"/api/v1/wiring/search?expect=6.31", "wiring", ""}, {"/api/v1/units/brindlecombe35/clips", "clips", "brindlecombe35"},
                                           {"/api/v1/units/brindlecombe35/wiggle", "wiggle", "brindlecombe35"}}) {
    const auto answer = running.ask(running.get(target));
    EXPECT_EQ(answer.status, 200) << target;
    EXPECT_NE(answer.body.find(std::string("\"what\":\"") + what + "\",\"name\":\"" + name), std::string::npos) << answer.body;
  }
}

TEST(WiringRequests, LookingAroundTakesNoPostAndOrdersTakeNoGet) {
  RunningServer running;
  for (const char* target : {"/api/v1/wiring/devices", "/api/v1/wiring/search", "/api/v1/units/brindlecombe35/clips", "/api/v1/units/brindlecombe35/wiggle"})
    EXPECT_EQ(running.ask(running.post(target, "{}")).status, 405) << target;
  for (const char* target : {look, "/api/v1/wiring/stop", "/api/v1/units/brindlecombe35/touched"}) EXPECT_EQ(running.ask(running.get(target)).status, 405) << target;
}

TEST(WiringRequests, ASearchReachesTheBackend) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post(look, R"({"who":"Ada","kind":"addresses","host":"127.0.0.1","port":502,"first":1,"last":16})")).status, 200);
  EXPECT_EQ(running.ordered, "look Ada");
}

TEST(WiringRequests, ATouchReachesTheBackend) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/touched", R"({"who":"Ada","point":"b_plus_v"})")).status, 200);
  EXPECT_EQ(running.ordered, "touched brindlecombe35 Ada");
}

TEST(WiringRequests, ASearchNeedsANameAndKnownFields) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post(look, R"({"kind":"addresses","host":"127.0.0.1"})")).status, 400);
  EXPECT_EQ(running.ask(running.post(look, R"({"who":"Ada","kind":"addresses","write":1})")).status, 400);
}

TEST(WiringRequests, AnotherSitesPageMayNotSearch) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post(look, R"({"who":"Ada","kind":"addresses"})", "Content-Type: application/json\r\nOrigin: http://elsewhere.example\r\n")).status, 403);
}

}  // namespace
}  // namespace steadyglow::http
