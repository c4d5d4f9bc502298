/// Every bound of the server, reached from outside.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <spdlog/spdlog.h>
#include <sys/resource.h>
#include <unistd.h>

#include <memory>
#include <string>
#include <vector>

#include "http/running_server.hpp"

namespace steadyglow::http {
namespace {

using std::chrono::milliseconds;

ServerOptions quick() {
  ServerOptions options;
  options.deadlines.idle = milliseconds{400};
  options.deadlines.read = milliseconds{150};
  options.deadlines.write = milliseconds{300};
  return options;
}

TEST(Bounds, ABodyOf64KibIsReadAndALongerOneIsNot) {
  RunningServer running;
  const auto body_of = [](std::size_t bytes) { return std::string(bytes, ' '); };
  EXPECT_EQ(running.ask(running.post("/api/v1/alarms/7/acknowledge", body_of(body_bytes_max))).status, 400);  // read, and no order
  EXPECT_EQ(running.ask(running.post("/api/v1/alarms/7/acknowledge", body_of(body_bytes_max + 1))).status, 413);
}

TEST(Bounds, AChunkedBodyIsBoundedToo) {
  RunningServer running;
  RawClient client(running.port());
  client.send("POST /api/v1/alarms/7/acknowledge HTTP/1.1\r\nHost: " + running.host() + "\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n");
  for (int i = 0; i < 6; ++i) client.send("4000\r\n" + std::string(0x4000, 'x') + "\r\n");
  EXPECT_EQ(client.read_answer().status, 413);
}

TEST(Bounds, AHugeBodyIsRefusedBeforeItIsSentAndTheClientHearsIt) {
  RunningServer running;
  RawClient client(running.port());
  client.send("POST / HTTP/1.1\r\nHost: " + running.host() + "\r\nContent-Length: 100000000\r\n\r\n");
  client.send(std::string(200'000, 'x'));
  EXPECT_EQ(client.read_answer().status, 413);
}

TEST(Bounds, ALongHeaderIsRefused) {
  RunningServer running;
  EXPECT_EQ(running.ask(running.get("/", "X-Long: " + std::string(header_bytes_max, 'x') + "\r\n")).status, 431);
  EXPECT_EQ(running.ask("GET /" + std::string(header_bytes_max, 'x') + " HTTP/1.1\r\n\r\n").status, 431);
}

TEST(Bounds, ARequestThatTricklesInIsCutOff) {
  RunningServer running(quick());
  RawClient client(running.port());
  client.send("GET / HTTP/1.1\r\nHost: ");
  EXPECT_EQ(client.read_answer().status, 408);
  EXPECT_TRUE(client.is_closed_by_server());
}

TEST(Bounds, AnIdleLineIsClosed) {
  RunningServer running(quick());
  RawClient fresh(running.port()), used(running.port());
  used.send(running.get("/healthz"));
  EXPECT_EQ(used.read_answer().status, 200);
  EXPECT_TRUE(fresh.is_closed_by_server());
  EXPECT_TRUE(used.is_closed_by_server());
}

TEST(Bounds, AClientThatDoesNotReadItsAnswersIsClosed) {
  RunningServer running(quick());
  running.bench_view.units.assign(200, sample_unit());
  RawClient client(running.port(), 4096);
  std::string requests;
  for (int i = 0; i < 100; ++i) requests += running.get("/api/v1/bench");
  client.send(requests.substr(0, 60'000));
  EXPECT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == 1; }));
  EXPECT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == 0; }));
}

TEST(Bounds, OneConnectionTooManyIsTold503AndThereIsRoomAgainLater) {
  RunningServer running;
  std::vector<std::unique_ptr<RawClient>> open;
  for (std::size_t i = 0; i < connections_max; ++i) open.push_back(std::make_unique<RawClient>(running.port()));
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == connections_max; }));
  const auto refused = running.ask(running.get("/healthz"));
  EXPECT_EQ(refused.status, 503);
  EXPECT_EQ(refused.field("Retry-After"), "5");
  open.clear();
  ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.connections == 0; }));
  EXPECT_EQ(running.ask(running.get("/healthz")).status, 200);
  EXPECT_EQ(running.figures().refused_connections, 1U);
}

TEST(Bounds, AFloodOfConnectionsIsCutWithoutAWordBeyondTheRefusals) {
  RunningServer running;
  std::vector<std::unique_ptr<RawClient>> open;
  for (std::size_t i = 0; i < connections_max + 40; ++i) open.push_back(std::make_unique<RawClient>(running.port()));
  EXPECT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.refused_connections >= 20 && figures.connections <= connections_max + 16; }));
  EXPECT_TRUE(open.back()->is_closed_by_server());
}

/// Lowers this process's bound on descriptors and takes all that are left, until it goes.
class NoDescriptors {
 public:
  NoDescriptors() {
    getrlimit(RLIMIT_NOFILE, &before_);
    rlimit low = before_;
    low.rlim_cur = 128;
    setrlimit(RLIMIT_NOFILE, &low);
    for (int fd = dup(0); fd >= 0; fd = dup(0)) taken_.push_back(fd);
  }
  ~NoDescriptors() {
    for (const int fd : taken_) close(fd);
    setrlimit(RLIMIT_NOFILE, &before_);
  }

 private:
  rlimit before_{};
  std::vector<int> taken_;
};

TEST(Bounds, WithoutDescriptorsTheServerRestsAndThenGoesOn) {
  // The sanitizer needs a descriptor to look at the type of an object that it meets the first time: no line is written.
  spdlog::set_level(spdlog::level::off);
  spdlog::default_logger()->flush();
  RunningServer running;
  const int held = dup(0);
  std::unique_ptr<RawClient> client;
  {
    const NoDescriptors none;
    close(held);  // the one that the client needs
    client = std::make_unique<RawClient>(running.port());
    ASSERT_TRUE(client->is_open());
    ASSERT_TRUE(running.comes_true([](const ServerFigures& figures) { return figures.accept_failures >= 2; }));
    EXPECT_LT(running.figures().accept_failures, 20U);  // it rests between tries
  }
  spdlog::set_level(spdlog::level::info);
  client->send(running.get("/healthz"));
  EXPECT_EQ(client->read_answer().status, 200);
}

TEST(Bounds, StoppingLeavesNoWorkOnTheLoop) {
  // With clients of every sort; ~RunningServer joins the loop, which ends only when nothing is left on it.
  auto running = std::make_unique<RunningServer>();
  running->answers_history = false;
  RawClient idle(running->port()), half(running->port()), stream(running->port()), waiting(running->port());
  half.send("GET /");
  stream.send(running->get("/api/v1/stream"));
  waiting.send(running->get("/api/v1/units/brindlecombe35/history?points=a"));
  EXPECT_EQ(stream.read_answer(true).status, 200);
  const auto begun = std::chrono::steady_clock::now();
  running.reset();
  EXPECT_LT(std::chrono::steady_clock::now() - begun, std::chrono::seconds{1});
  EXPECT_TRUE(idle.is_closed_by_server());
}

// ---- opening ----

Error error_of(ServerOptions options) {
  boost::asio::io_context loop;
  auto server = Server::open(loop, std::move(options), {});
  EXPECT_FALSE(server.has_value());
  return server ? Error{} : server.error();
}

TEST(Opening, AnAddressThatOthersCanReachNeedsAPassword) {
  for (const char* host : {"0.0.0.0", "::", "192.0.2.7"}) {
    const Error error = error_of({.host = host});
    EXPECT_EQ(error.fault, Fault::config) << host;
    EXPECT_NE(error.hint.find("password"), std::string::npos);
  }
}

TEST(Opening, WhatIsNoAddressIsAMistakeOfTheConfiguration) { EXPECT_EQ(error_of({.host = "bench"}).fault, Fault::config); }

TEST(Opening, WhatIsNoHashIsAMistakeOfTheConfiguration) {
  for (const char* hash : {"", "secret", "$argon2id$", "$argon2id$v=19$m=65536,t=2,p=1$x"}) EXPECT_EQ(error_of({.password_hash = hash}).fault, Fault::config) << hash;
}

TEST(Opening, ATakenPortIsUnavailableAndSaysWhatToLookFor) {
  RunningServer running;
  const Error error = error_of({.port = running.port()});
  EXPECT_EQ(error.fault, Fault::unavailable);
  EXPECT_EQ(error.hint, "is steadyglowd running already?");
}

}  // namespace
}  // namespace steadyglow::http
