/// Cards, photos and the shop's memory as they come over the wire.
#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <tuple>
#include <vector>

#include "http/client.hpp"
#include "http/running_server.hpp"

namespace steadyglow::http {
namespace {

constexpr const char* photos = "/api/v1/cards/m50/photos?who=Ada&caption=under%20side&point=v1";
constexpr const char* as_jpeg = "Content-Type: image/jpeg\r\n";
constexpr const char* entries = "/api/v1/cards/m50/entries";

// ---- what is asked ----

TEST(CardRequests, AnswersComeFromTheBookAndNotFromTheLoop) {
  RunningServer running;
  for (const auto& [target, what, name] : {std::tuple{"/api/v1/cards", "cards", ""}, {"/api/v1/cards?find=B35%200117", "cards", ""}, {"/api/v1/cards/wexmere-m50-r", "cards", "wexmere-m50-r"},
                                           {"/api/v1/photos/00ff", "photos", "00ff"}, {"/api/v1/memory?kind=a", "memory", ""}}) {
    EXPECT_EQ(running.ask(running.get(target)).status, 200) << target;
    EXPECT_EQ(running.asked_document.what, what) << target;
    EXPECT_EQ(running.asked_document.name, name) << target;
  }
}

TEST(CardRequests, TheSearchTextIsDecoded) {
  RunningServer running;
  running.ask(running.get("/api/v1/cards?find=B35%200117"));
  EXPECT_EQ(running.asked_document.query.at("find"), "B35 0117");
}

TEST(CardRequests, ReadingAddressesTakeNoPost) {
  RunningServer running;
  for (const char* target : {"/api/v1/cards", "/api/v1/cards/m50", "/api/v1/photos/00ff", "/api/v1/memory"}) EXPECT_EQ(running.ask(running.post(target, "{}")).status, 405) << target;
  EXPECT_EQ(running.ask(running.get(entries)).status, 405);
  EXPECT_EQ(running.ask(running.get(photos)).status, 405);
}

TEST(CardRequests, WhatIsWrongInAQuestionIsTold400) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.get("/api/v1/memory?hours=x")).status, 400);
}

TEST(CardRequests, AnEntryReachesTheBackend) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post(entries, R"({"who":"Ada","kind":"repair","fields":{"found":"C12 dry","parts_in":["C12 220 uF"]},"corrects":12})")).status, 200);
  EXPECT_EQ(running.ordered, "entries m50 Ada");
}

TEST(CardRequests, WhatIsWrongInAnEntryIsTold400) {
  RunningServer running;
  const auto answer = running.ask(running.post(entries, R"({"who":"Ada","kind":"horoscope","fields":{}})"));
  EXPECT_EQ(answer.status, 400);
  EXPECT_NE(answer.body.find("unit, repair"), std::string::npos);
}

TEST(CardRequests, AnEntryWithoutANameIsNone) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post(entries, R"({"kind":"remark","fields":{"text":"x"}})")).status, 400);
  EXPECT_EQ(running.changes, 0);
}

// ---- photos ----

TEST(Photos, ComeAsTheyAreWithWhoAndWhat) {
  RunningServer running;
  const std::string bytes("\xFF\xD8\xFF\0\r\n\r\nPOST", 12);
  EXPECT_EQ(running.ask(running.post(photos, bytes, as_jpeg)).status, 200);
  EXPECT_EQ(running.asked_photo.bytes, bytes);
  EXPECT_EQ(running.asked_photo.card, "m50");
  EXPECT_EQ(running.asked_photo.who, "Ada");
  EXPECT_EQ(running.asked_photo.caption, "under side");
  EXPECT_EQ(running.asked_photo.point, "v1");
}

TEST(Photos, OfEightMebibytesAreTakenAndNotOneByteMore) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post(photos, std::string(photo_bytes_max, 'x'), as_jpeg)).status, 200);
  EXPECT_EQ(running.asked_photo.bytes.size(), photo_bytes_max);
  RawClient client(running.port());
  client.send("POST " + std::string(photos) + " HTTP/1.1\r\nHost: " + running.host() + "\r\n" + as_jpeg + "Content-Length: " + std::to_string(photo_bytes_max + 1) + "\r\n\r\n");
  const auto answer = client.read_answer();
  EXPECT_EQ(answer.status, 413);
  EXPECT_NE(answer.body.find("8 MiB"), std::string::npos);
}

TEST(Photos, InChunksAreBoundedToo) {
  RunningServer running;
  RawClient client(running.port());
  client.send("POST " + std::string(photos) + " HTTP/1.1\r\nHost: " + running.host() + "\r\n" + as_jpeg + "Transfer-Encoding: chunked\r\n\r\n");
  const std::string chunk = "100000\r\n" + std::string(0x100000, 'x') + "\r\n";
  for (int i = 0; i < 9; ++i) client.send(chunk);
  EXPECT_EQ(client.read_answer().status, 413);
}

TEST(Photos, AreNoFormOfAnotherSite) {
  RunningServer running;
  for (const char* type : {"Content-Type: text/plain\r\n", "Content-Type: multipart/form-data\r\n", "Content-Type: application/json\r\n", ""}) EXPECT_EQ(running.ask(running.post(photos, "x", type)).status, 415) << type;
  EXPECT_EQ(running.ask(running.post(photos, "x", std::string(as_jpeg) + "Origin: http://elsewhere.example\r\n")).status, 403);
}

TEST(Photos, TheirContentTypeOpensNoOtherAddress) {
  RunningServer running;
  for (const char* target : {"/api/v1/units/brindlecombe35/stop", "/api/v1/cards/m50/entries", "/api/v1/photos/m50/photos", "/photos"}) EXPECT_EQ(running.ask(running.post(target, R"({"who":"Ada"})", as_jpeg)).status, 415) << target;
}

TEST(Photos, TheirBoundOpensNoOtherAddress) {
  RunningServer running;
  for (const char* target : {"/api/v1/cards/m50/entries", "/api/v1/cards/m50/photos/more", "/x?/api/v1/cards/m50/photos"})
    EXPECT_EQ(running.ask(running.post(target, std::string(body_bytes_max + 1, ' '))).status, 413) << target;
}

TEST(Photos, AnUnknownFieldIsRefused) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post("/api/v1/cards/m50/photos?who=Ada&owner=x", "x", as_jpeg)).status, 400);
}

TEST(Photos, WithoutANameAreRefused) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post("/api/v1/cards/m50/photos", "x", as_jpeg)).status, 400);
}

TEST(Photos, OneTooManyAtOnceIsTold503AndThereIsRoomAgain) {
  RunningServer running;
  const std::string begin = "POST " + std::string(photos) + " HTTP/1.1\r\nHost: " + running.host() + "\r\n" + as_jpeg + "Content-Length: 1000\r\n\r\n";
  {
    std::vector<std::unique_ptr<RawClient>> slow;
    for (std::size_t i = 0; i < photos_at_once_max; ++i) {
      slow.push_back(std::make_unique<RawClient>(running.port()));
      slow.back()->send(begin + "x");
    }
    // The four are on the loop before the fifth: it is accepted after them.
    ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == photos_at_once_max; }));
    int status = 200;
    for (int i = 0; i < 100 && status == 200; ++i) status = running.ask(running.post(photos, "x", as_jpeg)).status;
    EXPECT_EQ(status, 503);
  }
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == 0; }));
  EXPECT_EQ(running.ask(running.post(photos, "x", as_jpeg)).status, 200);
}

TEST(Photos, ThatTrickleInAreCutOff) {
  ServerOptions options;
  options.deadlines.photo = std::chrono::milliseconds{150};
  RunningServer running(options);
  RawClient client(running.port());
  client.send("POST " + std::string(photos) + " HTTP/1.1\r\nHost: " + running.host() + "\r\n" + as_jpeg + "Content-Length: 1000\r\n\r\nx");
  EXPECT_EQ(client.read_answer().status, 408);
}

TEST(Photos, TheCommandLineSendsThemToo) {
  RunningServer running;
  const auto answer = ask("127.0.0.1", running.port(), "POST", photos, std::string(100'000, 'x'), "", std::chrono::seconds{10}, "image/png");
  ASSERT_TRUE(answer.has_value()) << answer.error().text();
  EXPECT_EQ(answer->status, 200u);
  EXPECT_EQ(running.asked_photo.bytes.size(), 100'000u);
}

}  // namespace
}  // namespace steadyglow::http
