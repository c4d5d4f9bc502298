#include <gtest/gtest.h>
#include <sodium.h>

#include <memory>
#include <string>
#include <vector>

#include "http/client.hpp"
#include "http/password.hpp"
#include "http/running_server.hpp"

namespace steadyglow::http {
namespace {

using std::chrono::milliseconds;

constexpr const char* password = "correct horse: 4 staples";

/// The cost that `steadyglow password` uses.
std::string hash_of(const std::string& text) {
  if (sodium_init() < 0) return {};
  char hash[crypto_pwhash_STRBYTES];
  if (crypto_pwhash_str(hash, text.data(), text.size(), crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE) != 0) return {};
  return hash;
}

ServerOptions guarded() {
  static const std::string hash = hash_of(password);
  ServerOptions options;
  options.password_hash = hash;
  options.deadlines.wrong_password = milliseconds{50};
  return options;
}

std::string basic(const std::string& credentials) {
  char text[512];
  sodium_bin2base64(text, sizeof text, reinterpret_cast<const unsigned char*>(credentials.data()), credentials.size(), sodium_base64_VARIANT_ORIGINAL);
  return "Authorization: Basic " + std::string(text) + "\r\n";
}

TEST(Password, IsAskedForEverywhereButAtHealthz) {
  RunningServer running(guarded());
  for (const char* target : {"/", "/metrics", "/api/v1/bench", "/api/v1/stream", "/nothing", "/healthz/", "/healthz?x", "//healthz"}) {
    const auto answer = running.ask(running.get(target));
    EXPECT_EQ(answer.status, 401) << target;
    EXPECT_TRUE(answer.field("WWW-Authenticate").value_or("").starts_with("Basic realm=")) << target;
  }
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/stop", R"({"who":"Ada"})")).status, 401);
  EXPECT_EQ(running.changes, 0);
  EXPECT_EQ(running.ask(running.get("/healthz")).status, 200);
}

TEST(Password, OpensWithAnyNameBeforeIt) {
  RunningServer running(guarded());
  EXPECT_EQ(running.ask(running.get("/api/v1/bench", basic("ada:" + std::string(password)))).status, 200);
  EXPECT_EQ(running.ask(running.get("/api/v1/bench", basic(":" + std::string(password)))).status, 200);
}

TEST(Password, AWrongOneIsRefusedAfterAWhileAndCounted) {
  ServerOptions options = guarded();
  options.deadlines.wrong_password = milliseconds{300};
  RunningServer running(options);
  const auto begun = std::chrono::steady_clock::now();
  EXPECT_EQ(running.ask(running.get("/api/v1/bench", basic("ada:wrong"))).status, 401);
  EXPECT_GE(std::chrono::steady_clock::now() - begun, milliseconds{300});
  EXPECT_EQ(running.figures().wrong_passwords, 1U);
}

TEST(Password, AWrongOneStaysWrong) {
  RunningServer running(guarded());
  for (int i = 0; i < 3; ++i) EXPECT_EQ(running.ask(running.get("/api/v1/bench", basic("ada:wrong"))).status, 401);
}

TEST(Password, AFieldThatIsNoBasicCredentialIsRefused) {
  RunningServer running(guarded());
  for (const std::string field : {"Bearer abc", "Basic", "Basic !!!!", "Basic YWRh", "Basic YWRhOg", "Digest username=\"ada\"", "Basic  YWRhOng="})
    EXPECT_EQ(running.ask(running.get("/api/v1/bench", "Authorization: " + field + "\r\n")).status, 401) << field;
}

TEST(Password, IsReadAsRfc7617Says) {
  // RFC 7617 section 2: the example of user "Aladdin" with password "open sesame"; section 2.1: the scheme is
  // case-insensitive by RFC 9110 11.1, and only the first colon separates.
  EXPECT_EQ(basic_password("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="), "open sesame");
  EXPECT_EQ(basic_password("bASIC QWxhZGRpbjpvcGVuIHNlc2FtZQ=="), "open sesame");
  EXPECT_EQ(basic_password("Basic YTpiOmM="), "b:c");
}

TEST(Password, OnceKnownCostsNothing) {
  RunningServer running(guarded());
  const std::string request = running.get("/api/v1/bench", basic("ada:" + std::string(password)));
  ASSERT_EQ(running.ask(request).status, 200);
  const auto begun = std::chrono::steady_clock::now();
  for (int i = 0; i < 20; ++i) EXPECT_EQ(running.ask(request).status, 200);
  EXPECT_LT(std::chrono::steady_clock::now() - begun, milliseconds{1000});  // 20 verifications would take 2 s
}

TEST(Password, TheLoopGoesOnWhileOneIsChecked) {
  RunningServer running(guarded());
  RawClient client(running.port());
  client.send(running.get("/api/v1/bench", basic("ada:wrong")));
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == 1; }));
  std::this_thread::sleep_for(milliseconds{10});
  EXPECT_EQ(running.ask(running.get("/healthz")).status, 200);
  EXPECT_EQ(running.figures().wrong_passwords, 0U);  // still being checked: that takes about 100 ms
  EXPECT_EQ(client.read_answer().status, 401);
}

TEST(Password, AStormOfWrongOnesIsBoundedAndWhoIsKnownStillPasses) {
  RunningServer running(guarded());
  const std::string good = running.get("/api/v1/bench", basic("ada:" + std::string(password)));
  ASSERT_EQ(running.ask(good).status, 200);
  std::vector<std::unique_ptr<RawClient>> storm;
  for (int i = 0; i < 24; ++i) {
    storm.push_back(std::make_unique<RawClient>(running.port()));
    storm.back()->send(running.get("/api/v1/bench", basic("ada:wrong" + std::to_string(i))));
  }
  EXPECT_EQ(running.ask(good).status, 200);
  EXPECT_LT(running.figures().wrong_passwords, 10U);  // it did not wait for them
  int busy = 0;
  for (auto& client : storm) busy += client->read_answer().status == 503 ? 1 : 0;
  EXPECT_GE(busy, 24 - static_cast<int>(password_checks_waiting_max) - 4);
}

TEST(Password, IsSentByTheCommandLinesClient) {
  RunningServer running(guarded());
  EXPECT_EQ(ask("127.0.0.1", running.port(), "GET", "/api/v1/bench", "", password)->status, 200U);
  EXPECT_EQ(ask("127.0.0.1", running.port(), "GET", "/api/v1/bench", "", "wrong")->status, 401U);
}

TEST(Password, AServerWithOneMayBeReachedByOthers) {
  // Listens at every address of this machine for a moment; the client still comes by loopback.
  ServerOptions options = guarded();
  options.host = "0.0.0.0";
  RunningServer running(options);
  EXPECT_EQ(running.ask(running.get("/api/v1/bench")).status, 401);
}

}  // namespace
}  // namespace steadyglow::http
