#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "http/running_server.hpp"

namespace steadyglow::http {
namespace {

using nlohmann::json;

constexpr const char* ack = "/api/v1/alarms/7/acknowledge";
constexpr const char* ada = R"({"who":"Ada","note":"seen"})";

// ---- what is asked and what comes ----

TEST(Requests, EveryAddressOfTheDocumentAnswers) {
  RunningServer running;
  for (const char* target : {"/", "/healthz", "/metrics", "/api/v1/bench", "/api/v1/alarms", "/api/v1/units/brindlecombe35/findings",
                             "/api/v1/units/brindlecombe35/history?points=a,b&from_s=0&to_s=86400&buckets=600"})
    EXPECT_EQ(running.ask(running.get(target)).status, 200) << target;
  EXPECT_EQ(running.ask(running.post(ack, ada)).status, 200);
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/start", R"({"who":"Ada","at_the_bench":true})")).status, 200);
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/stop", R"({"who":"Ada","why":"smell"})")).status, 200);
}

TEST(Requests, TheBenchIsServedAsItIs) {
  RunningServer running;
  const json bench = json::parse(running.ask(running.get("/api/v1/bench")).body);
  EXPECT_EQ(bench["units"][0]["points"][0]["value"], 437.6);
  EXPECT_EQ(bench["alarms"][0]["id"], 7);
}

TEST(Requests, AnOrderReachesTheBackendWithTheNameOfThePerson) {
  RunningServer running;
  running.ask(running.post("/api/v1/units/brindlecombe35/stop", R"({"who":"Ada","why":"smell of hot varnish"})"));
  EXPECT_EQ(running.ordered, "stop brindlecombe35 Ada smell of hot varnish");
}

TEST(Requests, ARefusedOrderIsAConflictWithItsReason) {
  RunningServer running;
  const auto answer = running.ask(running.post("/api/v1/units/brindlecombe35/start", R"({"who":"Ada","at_the_bench":false})"));
  EXPECT_EQ(answer.status, 409);
  EXPECT_EQ(json::parse(answer.body), (json{{"error", "the interlock holds"}, {"hint", "power returns only by a person at the bench"}}));
}

TEST(Requests, WhatDoesNotExistIsNotFound) {
  RunningServer running;
  for (const char* target : {"/nothing", "/api/v1/nothing", "/api/v2/bench", "/api/v1/units/nobody/findings", "/api/v1/bench/", "/api/v1/units//findings", "/API/V1/BENCH"})
    EXPECT_EQ(running.ask(running.get(target)).status, 404) << target;
  EXPECT_EQ(running.ask(running.post("/api/v1/alarms/8/acknowledge", ada)).status, 404);
  EXPECT_EQ(running.ask(running.post("/api/v1/alarms/7x/acknowledge", ada)).status, 404);
}

TEST(Requests, HistoryIsAskedForAsTheAddressSays) {
  RunningServer running;
  running.ask(running.get("/api/v1/units/brindlecombe35/history?points=a%2Cb&from_s=10.5&to_s=20&buckets=7"));
  EXPECT_EQ(running.asked_history.points, (std::vector<std::string>{"a", "b"}));
  EXPECT_EQ(running.asked_history.from_s, 10.5);
  EXPECT_EQ(running.asked_history.to_s, 20.0);
  EXPECT_EQ(running.asked_history.buckets, 7);
}

TEST(Requests, AHistoryRequestThatMakesNoSenseIsRefused) {
  RunningServer running;
  for (const char* query : {"", "points=", "points=a&from_s=-1", "points=a&from_s=nan", "points=a&from_s=5&to_s=5", "points=a&buckets=0", "points=a&buckets=1e3",
                            "points=a&buckets=999999999999", "points=%zz", "points=%2"})
    EXPECT_EQ(running.ask(running.get("/api/v1/units/brindlecombe35/history?" + std::string(query))).status, 400) << query;
}

TEST(Requests, AHistoryThatNeverComesEndsAtTheDeadline) {
  ServerOptions options;
  options.deadlines.answer = std::chrono::milliseconds{100};
  RunningServer running(options);
  running.answers_history = false;
  EXPECT_EQ(running.ask(running.get("/api/v1/units/brindlecombe35/history?points=a")).status, 503);
}

TEST(Requests, ARunsDocumentsComeAsTheyAre) {
  RunningServer running;
  const auto zip = running.ask(running.get("/api/v1/runs/3/record.zip"));
  EXPECT_EQ(zip.status, 200);
  EXPECT_EQ(zip.body, std::string("PK\0\1", 4));
  EXPECT_NE(zip.header.find("Content-Disposition: attachment; filename=\"B35-0117.zip\""), std::string::npos) << zip.header;
  EXPECT_EQ(running.ask(running.get("/api/v1/runs/3/page.pdf?paper=letter")).status, 200);
  EXPECT_EQ(running.asked_document.name, "page.pdf");
  EXPECT_EQ(running.asked_document.query["paper"], "letter");
  EXPECT_EQ(json::parse(running.ask(running.get("/api/v1/runs")).body), (json{{"runs", json::array()}}));
}

TEST(Requests, APageOfARunRunsNothing) {
  RunningServer running;
  const auto page = running.ask(running.get("/api/v1/runs/3/page.html"));
  EXPECT_NE(page.header.find("Content-Security-Policy: sandbox;"), std::string::npos) << page.header;
  EXPECT_EQ(page.header.find("script"), std::string::npos);
}

TEST(Requests, ForARunThatIsNoneOrIsNoNumberThereIsNothing) {
  RunningServer running;
  for (const char* run : {"4", "0", "-1", "3x", "", "99999999999999999999"})
    EXPECT_EQ(running.ask(running.get("/api/v1/runs/" + std::string(run) + "/page.pdf")).status, 404) << run;
  EXPECT_EQ(running.ask(running.post("/api/v1/runs/3/page.pdf", "{}")).status, 405);
}

TEST(Requests, AFailingDaemonSaysSoAndWhy) {
  RunningServer running;
  running.health.reasons = {"store: the disk is full"};
  const auto answer = running.ask(running.get("/healthz"));
  EXPECT_EQ(answer.status, 503);
  EXPECT_EQ(json::parse(answer.body), (json{{"state", "failing"}, {"reasons", {"store: the disk is full"}}}));
}

// ---- who may ask ----

TEST(Guard, OnlyOurHostsAreServed) {
  ServerOptions options;
  options.allowed_hosts = {"Bench.Example:8460", "bench.example"};
  RunningServer running(options);
  const auto status = [&](const std::string& host) { return running.ask("GET /healthz HTTP/1.1\r\nHost: " + host + "\r\n\r\n").status; };
  const std::string port = std::to_string(running.port());
  for (const std::string& host : {"127.0.0.1:" + port, "localhost:" + port, "LOCALHOST:" + port, "[::1]:" + port, std::string("bench.example:8460"), std::string("bench.example")})
    EXPECT_EQ(status(host), 200) << host;
  for (const std::string& host : {std::string("127.0.0.1"), std::string("localhost"), std::string("localhost:1"), "attacker.example:" + port, "127.0.0.1:" + port + ".attacker.example",
                                  "localhost:" + port + "@attacker.example", "127.0.0.2:" + port, std::string("bench.example:1"), "127.1:" + port})
    EXPECT_EQ(status(host), 421) << host;
}

TEST(Guard, ARequestNeedsExactlyOneHost) {
  RunningServer running;
  EXPECT_EQ(running.ask("GET / HTTP/1.1\r\n\r\n").status, 400);
  EXPECT_EQ(running.ask("GET / HTTP/1.0\r\n\r\n").status, 400);
  EXPECT_EQ(running.ask("GET / HTTP/1.1\r\nHost: " + running.host() + "\r\nHost: attacker.example\r\n\r\n").status, 400);
}

TEST(Guard, AnotherSitesPageMayNotAsk) {
  RunningServer running;
  const std::string type = "Content-Type: application/json\r\n";
  for (const std::string& origin : {std::string("http://attacker.example"), std::string("null"), "http://localhost:" + std::to_string(running.port()), "ftp://" + running.host(),
                                    "http://" + running.host() + ".attacker.example", std::string()}) {
    EXPECT_EQ(running.ask(running.post(ack, ada, type + "Origin: " + origin + "\r\n")).status, 403) << origin;
    EXPECT_EQ(running.ask(running.get("/api/v1/bench", "Origin: " + origin + "\r\n")).status, 403) << origin;
  }
  EXPECT_EQ(running.changes, 0);
}

TEST(Guard, OurOwnPageMayAsk) {
  RunningServer running;
  for (const char* scheme : {"http://", "https://"})
    EXPECT_EQ(running.ask(running.post(ack, ada, "Content-Type: application/json; charset=utf-8\r\nOrigin: " + (scheme + running.host()) + "\r\n")).status, 200);
}

TEST(Guard, AnOrderComesAsJsonOnly) {
  RunningServer running;
  for (const char* field : {"", "Content-Type: text/plain\r\n", "Content-Type: application/x-www-form-urlencoded\r\n", "Content-Type: multipart/form-data\r\n",
                            "Content-Type: text/plain; application/json\r\n", "Content-Type: application/jsonp\r\n"})
    EXPECT_EQ(running.ask(running.post(ack, ada, field)).status, 415) << field;
  EXPECT_EQ(running.changes, 0);
}

TEST(Guard, NoOtherMethodChangesAnything) {
  RunningServer running;
  const std::string type = "Content-Type: application/json\r\n";
  for (const std::string method : {"GET", "HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"})
    for (const char* target : {ack, "/api/v1/units/brindlecombe35/start", "/api/v1/units/brindlecombe35/stop"}) {
      const std::string request = method + " " + target + " HTTP/1.1\r\nHost: " + running.host() + "\r\n" + type + "Content-Length: 13\r\n\r\n{\"who\":\"Ada\"}";
      const auto answer = running.ask(request);
      EXPECT_EQ(answer.status, 405) << method << " " << target;
      EXPECT_TRUE(answer.field("Allow").has_value()) << method;
    }
  EXPECT_EQ(running.changes, 0);
}

TEST(Guard, APostToWhatIsReadOnlyIsRefused) {
  RunningServer running;
  for (const char* target : {"/", "/metrics", "/healthz", "/api/v1/bench", "/api/v1/stream", "/api/v1/units/brindlecombe35/history?points=a", "/api/v1/units/brindlecombe35/findings"})
    EXPECT_EQ(running.ask(running.post(target, "{}")).status, 405) << target;
}

TEST(Guard, ABodyThatIsNoProperOrderIsRefusedWithAWord) {
  RunningServer running;
  const std::string long_name(81, 'x');
  for (const std::string& body : {std::string(), std::string("{"), std::string("[]"), std::string("null"), std::string(R"({})"), std::string(R"({"who":""})"), std::string(R"({"who":"  "})"),
                                  std::string(R"({"who":7})"), R"({"who":")" + long_name + R"("})", std::string(R"({"who":"Ada","colour":"red"})"), std::string(R"({"who":"A\nB"})"),
                                  std::string(R"({"who":"Ada","note":null})"), std::string("{\"who\":\"\xff\"}"), std::string(60000, '[')}) {
    const auto answer = running.ask(running.post(ack, body));
    EXPECT_EQ(answer.status, 400) << body.substr(0, 60);
    EXPECT_FALSE(json::parse(answer.body)["error"].get<std::string>().empty());
  }
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/start", R"({"who":"Ada"})")).status, 400);
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/start", R"({"who":"Ada","at_the_bench":"yes"})")).status, 400);
  EXPECT_EQ(running.changes, 0);
}

TEST(Guard, NoPathLeadsOutOfThePage) {
  RunningServer running;
  for (const char* target : {"/../../etc/passwd", "/assets/../../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/assets/..%2f..%2fetc/passwd", "//etc/passwd", "/./", "/assets/%00", "/..\\..\\etc\\passwd"})
    EXPECT_EQ(running.ask(running.get(target)).status, 404) << target;
}

TEST(Guard, EveryAnswerCarriesTheFieldsThatKeepABrowserInLine) {
  RunningServer running;
  for (const std::string& request : {running.get("/"), running.get("/api/v1/bench"), running.get("/nothing"), running.post(ack, ada), std::string("GET / HTTP/1.1\r\nHost: attacker.example\r\n\r\n")}) {
    const auto answer = running.ask(request);
    const std::string policy = answer.field("Content-Security-Policy").value_or("");
    EXPECT_NE(policy.find("default-src 'self'"), std::string::npos);
    EXPECT_NE(policy.find("frame-ancestors 'none'"), std::string::npos);
    EXPECT_EQ(answer.field("X-Content-Type-Options"), "nosniff");
    EXPECT_EQ(answer.field("Referrer-Policy"), "no-referrer");
    EXPECT_FALSE(answer.field("Access-Control-Allow-Origin").has_value());
  }
  EXPECT_EQ(running.ask(running.get("/api/v1/bench")).field("Cache-Control"), "no-store");
}

// ---- HTTP itself (RFC 9110, RFC 9112) ----

TEST(Http, HeadHasTheHeaderOfGetAndNoBody) {
  RunningServer running;
  RawClient client(running.port());
  client.send("HEAD / HTTP/1.1\r\nHost: " + running.host() + "\r\n\r\n" + running.get("/healthz"));
  const auto head = client.read_answer(true);
  EXPECT_EQ(head.status, 200);
  EXPECT_EQ(head.field("Content-Length"), std::to_string(sample_page.body.size()));
  EXPECT_EQ(client.read_answer().body, R"({"state":"ok"})");  // nothing of a body stands before it
}

TEST(Http, OneLineCarriesManyRequests) {
  RunningServer running;
  RawClient client(running.port());
  for (int i = 0; i < 5; ++i) {
    client.send(running.get("/healthz"));
    EXPECT_EQ(client.read_answer().status, 200);
  }
}

TEST(Http, RequestsSentAtOnceAreAnsweredInOrder) {
  RunningServer running;
  RawClient client(running.port());
  client.send(running.get("/healthz") + running.get("/nothing") + running.post(ack, ada) + running.get("/"));
  EXPECT_EQ(client.read_answer().status, 200);
  EXPECT_EQ(client.read_answer().status, 404);
  EXPECT_EQ(client.read_answer().status, 200);
  EXPECT_EQ(client.read_answer().body, sample_page.body);
}

TEST(Http, AnUnchangedFileOfThePageIsNotSentAgain) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.get("/")).field("ETag"), "\"one\"");
  RawClient client(running.port());
  client.send(running.get("/", "If-None-Match: \"one\"\r\n") + running.get("/healthz"));
  EXPECT_EQ(client.read_answer().status, 304);
  EXPECT_EQ(client.read_answer().status, 200);
}

TEST(Http, AClientThatWaitsForContinueGetsIt) {
  RunningServer running;
  RawClient client(running.port());
  client.send("POST " + std::string(ack) + " HTTP/1.1\r\nHost: " + running.host() + "\r\nContent-Type: application/json\r\nExpect: 100-continue\r\nContent-Length: " + std::to_string(std::string(ada).size()) + "\r\n\r\n");
  EXPECT_EQ(client.read_answer(true).status, 100);
  client.send(ada);
  EXPECT_EQ(client.read_answer().status, 200);
}

TEST(Http, GarbageIsRefusedAndTheServerGoesOn) {
  RunningServer running;
  const std::string host = "Host: " + running.host() + "\r\n";
  for (const std::string& bytes : {std::string("\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", 15), std::string("hello\r\n\r\n"), std::string("GET\r\n\r\n"), "GET / HTTP/9.9\r\n" + host + "\r\n",
                                   "GET / HTTP/1.1\r\n" + host + "no colon\r\n\r\n", "GET / HTTP/1.1\r\n" + host + "Content-Length: -1\r\n\r\n", "GET / HTTP/1.1\r\n" + host + "Content-Length: 1\r\nContent-Length: 2\r\n\r\n",
                                   "POST / HTTP/1.1\r\n" + host + "Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", "POST / HTTP/1.1\r\n" + host + "Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n",
                                   std::string("GET http://attacker.example/ HTTP/1.1\r\n") + host + "\r\n", std::string("GET * HTTP/1.1\r\n") + host + "\r\n"}) {
    RawClient client(running.port());
    client.send(bytes);
    EXPECT_EQ(client.read_answer().status, 400) << bytes.substr(0, 60);
  }
  EXPECT_EQ(running.ask(running.get("/healthz")).status, 200);
}

TEST(Http, AClientThatGoesAwayInTheMiddleLeavesNothingBehind) {
  RunningServer running;
  for (const std::string bytes : {"", "GE", "GET / HTTP/1.1\r\nHost:", "POST / HTTP/1.1\r\nContent-Length: 100\r\n\r\nhalf"}) {
    RawClient client(running.port());
    client.send(bytes);
  }
  EXPECT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == 0; }));
}

TEST(Orders, OfEveryAddressReachTheProgram) {
  RunningServer running;
  const std::vector<std::pair<const char*, const char*>> all{
      {"/api/v1/units/brindlecombe35/acts", R"({"who":"Ada","kind":"touch","points":["v3_cathode_mv"],"before":380.0,"after":360})"},
      {"/api/v1/units/brindlecombe35/facts", R"({"who":"Ada","kind":"safety_test","text":"0.09 ohm"})"},
      {"/api/v1/units/brindlecombe35/leave", R"({"who":"Ada","policy":{"after_mains":"staged"}})"},
      {"/api/v1/benches/bench%201/cut", R"({"who":"Ada","why":"smell"})"},
      {"/api/v1/benches/bench%201/rehearse", R"({"who":"Ada","unit":"brindlecombe35"})"},
      {"/api/v1/incidents/7/acknowledge", R"({"who":"Ada"})"},
      {"/api/v1/notify/test", R"({"who":"Ada"})"},
      {"/api/v1/morning/tick", R"({"who":"Ada","id":"3-7"})"},
  };
  for (const auto& [address, body] : all) EXPECT_EQ(running.ask(running.post(address, body)).status, 200) << address;
}

TEST(Orders, AreRefusedWithAFieldThatTheAddressDoesNotKnow) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post("/api/v1/benches/bench/cut", R"({"who":"Ada","unit":"x"})")).status, 400);
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/acts", R"({"who":"Ada","kind":{"a":{"b":{}}}})")).status, 400);
  EXPECT_EQ(running.ask(running.post("/api/v1/units/brindlecombe35/acts", R"({"who":"Ada","why":7,"kind":"pause"})")).status, 400);
  EXPECT_TRUE(running.ordered.empty()) << running.ordered;
}

TEST(Orders, ByAMessagesLinkNeedItsToken) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.post("/answer", R"({"incident":3,"token":"right","do":"acknowledge"})")).status, 200);
  EXPECT_EQ(running.ask(running.post("/answer", R"({"incident":3,"token":"wrong","do":"acknowledge"})")).status, 403);
}

TEST(Questions, OfTheListAndTheMorningReachTheProgram) {
  RunningServer running;
  EXPECT_NE(running.ask(running.get("/api/v1/units/brindlecombe35/ready?who=Ada")).body.find(R"("who":"Ada")"), std::string::npos);
  EXPECT_EQ(running.ask(running.get("/api/v1/morning")).status, 200);
  EXPECT_EQ(running.ask(running.get("/api/v1/cautions")).status, 200);
}

}  // namespace
}  // namespace steadyglow::http
