#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <vector>

#include "http/running_server.hpp"
#include "http/stream.hpp"

namespace steadyglow::http {
namespace {

using nlohmann::json;
using std::chrono::milliseconds;

struct Event {
  std::string id, name, data;
};

/// A browser's end of the stream, as far as we need it (WHATWG HTML 9.2.6).
class Follower {
 public:
  explicit Follower(RunningServer& running, const std::string& fields = {}) : client_(running.port()) {
    client_.send(running.get("/api/v1/stream", fields));
    header_ = client_.read_answer(true);
  }
  const RawAnswer& header() const { return header_; }
  /// The next event; comments and blocks without data are passed over.
  Event next() {
    for (;;) {
      const std::string block = client_.read_until("\n\n");
      if (block.empty()) return {};
      const auto value = [&](const std::string& field) -> std::string {
        const std::size_t at = ("\n" + block).find("\n" + field + ": ");
        if (at == std::string::npos) return {};
        const std::size_t begin = at + field.size() + 2;
        return block.substr(begin, block.find('\n', begin) - begin);
      };
      if (!value("data").empty()) return {value("id"), value("event"), value("data")};
    }
  }
  Event next_named(const std::string& name) {
    Event event = next();
    while (!event.id.empty() && event.name != name) event = next();
    return event;
  }
  RawClient& client() { return client_; }

 private:
  RawClient client_;
  RawAnswer header_;
};

ServerOptions quick() {
  ServerOptions options;
  options.deadlines.bench_events = milliseconds{100};
  options.deadlines.keep_alive = milliseconds{100};
  return options;
}

void change(RunningServer& running) {
  running.on_loop([&] { running.server().mark_changed(); });
}

TEST(Stream, IsWhatABrowserExpects) {
  RunningServer running;
  const Follower follower(running);
  EXPECT_EQ(follower.header().status, 200);
  EXPECT_EQ(follower.header().field("Content-Type"), "text/event-stream");
  EXPECT_EQ(follower.header().field("Cache-Control"), "no-store");
  EXPECT_FALSE(follower.header().field("Content-Length").has_value());
}

TEST(Stream, BeginsWithTheWholeBench) {
  RunningServer running;
  Follower follower(running);
  const Event event = follower.next();
  EXPECT_EQ(event.name, "bench");
  EXPECT_EQ(json::parse(event.data)["units"][0]["name"], "brindlecombe35");
}

TEST(Stream, EventsReachEveryFollowerWithIncreasingIds) {
  RunningServer running;
  Follower one(running), two(running);
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.stream_clients == 2; }));
  running.publish("finding", {{"unit", "a"}});
  running.publish("alarm", {{"id", 7}});
  const Event first = one.next_named("finding"), second = one.next_named("alarm");
  EXPECT_EQ(first.data, R"({"unit":"a"})");
  EXPECT_EQ(std::stoull(second.id), std::stoull(first.id) + 1);
  EXPECT_EQ(two.next_named("alarm").id, second.id);
}

TEST(Stream, ATextWithLineEndsStaysOneEvent) {
  RunningServer running;
  Follower follower(running);
  ASSERT_EQ(follower.next().name, "bench");
  running.publish("finding", {{"message", "a\n\ndata: b\r\n"}});
  EXPECT_EQ(json::parse(follower.next().data)["message"], "a\n\ndata: b\r\n");
}

TEST(Stream, WhoComesBackGetsWhatWasMissedOnce) {
  RunningServer running(quick());
  std::string last;
  {
    Follower follower(running);
    ASSERT_EQ(follower.next().name, "bench");
    running.publish("finding", {{"n", 1}});
    last = follower.next_named("finding").id;
  }
  running.publish("finding", {{"n", 2}});
  running.publish("finding", {{"n", 3}});
  Follower again(running, "Last-Event-ID: " + last + "\r\n");
  EXPECT_EQ(again.next_named("finding").data, R"({"n":2})");
  EXPECT_EQ(again.next_named("finding").data, R"({"n":3})");
  running.publish("finding", {{"n", 4}});
  EXPECT_EQ(again.next_named("finding").data, R"({"n":4})");
}

TEST(Stream, AFirstVisitReplaysNothing) {
  RunningServer running;
  running.publish("finding", {{"n", 1}});
  Follower follower(running);
  ASSERT_EQ(follower.next().name, "bench");
  running.publish("finding", {{"n", 2}});
  EXPECT_EQ(follower.next_named("finding").data, R"({"n":2})");
}

TEST(Stream, AnIdThatWeNeverGaveReplaysAllThatIsKept) {
  RunningServer running;
  running.publish("finding", {{"n", 1}});
  Follower follower(running, "Last-Event-ID: 18446744073709551615\r\n");
  EXPECT_EQ(follower.next_named("finding").data, R"({"n":1})");
}

TEST(Stream, AnIdThatIsNoNumberIsAsNone) {
  RunningServer running;
  running.publish("finding", {{"n", 1}});
  Follower follower(running, "Last-Event-ID: 12; drop\r\n");
  EXPECT_EQ(follower.next().name, "bench");
}

TEST(Stream, TheLast256EventsAreKept) {
  RunningServer running;
  for (int n = 0; n < 300; ++n) running.publish("finding", {{"n", n}});
  Follower follower(running, "Last-Event-ID: 0\r\n");
  EXPECT_EQ(follower.next_named("finding").data, R"({"n":44})");
}

TEST(Stream, FindingsAreNotPushedOutByTheBench) {
  ServerOptions options;
  options.deadlines.bench_events = milliseconds{1};
  RunningServer running(options);
  running.publish("finding", {{"n", 1}});
  {
    Follower follower(running);
    for (int i = 0; i < 300; ++i) {
      change(running);
      ASSERT_EQ(follower.next().name, "bench");
    }
  }
  Follower again(running, "Last-Event-ID: 0\r\n");
  EXPECT_EQ(again.next_named("finding").data, R"({"n":1})");
}

TEST(Stream, ManyChangesBecomeFewBenchEvents) {
  RunningServer running(quick());
  Follower follower(running);
  ASSERT_EQ(follower.next().name, "bench");
  const auto begun = std::chrono::steady_clock::now();
  for (int i = 0; i < 400; ++i) {
    change(running);
    std::this_thread::sleep_for(milliseconds{1});
  }
  running.publish("finding", {{"n", 1}});
  int benches = 0;
  while (follower.next().name == "bench") ++benches;
  const auto lasted = std::chrono::duration_cast<milliseconds>(std::chrono::steady_clock::now() - begun);
  EXPECT_GE(benches, 2);
  EXPECT_LE(benches, lasted / milliseconds{100} + 1);
}

TEST(Stream, AQuietBenchIsNotSentAgain) {
  RunningServer running(quick());
  Follower follower(running);
  ASSERT_EQ(follower.next().name, "bench");
  std::this_thread::sleep_for(milliseconds{300});
  running.publish("finding", {{"n", 1}});
  EXPECT_EQ(follower.next().name, "finding");
}

TEST(Stream, ANewFollowerOfAQuietBenchGetsItWithoutTheOthersGettingItAgain) {
  RunningServer running(quick());
  Follower one(running);
  const Event bench = one.next();
  Follower two(running);
  EXPECT_EQ(two.next().id, bench.id);
  std::this_thread::sleep_for(milliseconds{150});
  running.publish("finding", {{"n", 1}});
  EXPECT_EQ(one.next().name, "finding");
}

TEST(Stream, AQuietStreamSendsComments) {
  RunningServer running(quick());
  Follower follower(running);
  ASSERT_EQ(follower.next().name, "bench");
  EXPECT_TRUE(follower.client().read_until("\n\n").starts_with(":"));
  EXPECT_TRUE(follower.client().read_until("\n\n").starts_with(":"));
}

TEST(Stream, AFollowerThatGoesAwayIsForgottenAtOnce) {
  RunningServer running;
  {
    const Follower follower(running);
    ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.stream_clients == 1; }));
  }
  EXPECT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.stream_clients == 0 && figures.connections == 0; }));
}

TEST(Stream, AFollowerThatDoesNotReadIsDroppedAndCountedAndTheOthersLoseNothing) {
  RunningServer running;
  Follower good(running);
  RawClient slow(running.port(), 4096);
  slow.send(running.get("/api/v1/stream"));
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.stream_clients == 2; }));
  const std::string text(100'000, 'x');
  int sent = 0;
  int last_seen = -1;
  while (running.figures().dropped_stream_clients == 0 && sent < 600) {
    running.publish("finding", {{"n", sent++}, {"text", text}});
    const json seen = json::parse(good.next_named("finding").data);
    ASSERT_EQ(seen["n"], ++last_seen);
  }
  EXPECT_EQ(running.figures().dropped_stream_clients, 1U);
  EXPECT_EQ(running.figures().stream_clients, 1U);
}

TEST(Stream, AFollowerWhoseLineStandsStillIsDroppedAtTheWriteDeadline) {
  ServerOptions options;
  options.deadlines.write = milliseconds{200};
  RunningServer running(options);
  RawClient slow(running.port(), 4096);
  slow.send(running.get("/api/v1/stream"));
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.stream_clients == 1; }));
  for (int i = 0; i < 20; ++i) running.publish("finding", {{"text", std::string(1'000'000, 'x')}});
  EXPECT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.dropped_stream_clients == 1; }));
}

TEST(Stream, FollowersAreBounded) {
  RunningServer running;
  std::vector<std::unique_ptr<Follower>> followers;
  for (std::size_t i = 0; i < streams_max; ++i) followers.push_back(std::make_unique<Follower>(running));
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.stream_clients == streams_max; }));
  EXPECT_EQ(running.ask(running.get("/api/v1/stream")).status, 503);
  EXPECT_EQ(running.ask(running.get("/healthz")).status, 200);
}

TEST(Stream, HeadOfTheStreamEnds) {
  RunningServer running;
  RawClient client(running.port());
  client.send("HEAD /api/v1/stream HTTP/1.1\r\nHost: " + running.host() + "\r\n\r\n");
  EXPECT_EQ(client.read_answer(true).status, 200);
  EXPECT_TRUE(client.is_closed_by_server());
}

}  // namespace
}  // namespace steadyglow::http
