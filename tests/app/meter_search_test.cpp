#include "app/meter_search.hpp"

#include <gtest/gtest.h>
#include <arpa/inet.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "app/wiring_desk.hpp"

namespace steadyglow::app {
namespace {

TEST(CheckHost, TakesThisMachineAndPrivateNetworks) {
  for (const char* host : {"127.0.0.1", "10.1.2.3", "172.16.0.1", "172.31.255.254", "192.168.40.21", "169.254.7.7"}) EXPECT_TRUE(check_host(host)) << host;
}

TEST(CheckHost, RefusesTheWorld) {
  // 192.0.2.1 stands for the world: RFC 5737 keeps it for documentation.
  for (const char* host : {"192.0.2.1", "172.15.0.1", "172.32.0.1", "192.169.0.1", "0.0.0.0", "255.255.255.255", "126.0.0.1"}) EXPECT_FALSE(check_host(host)) << host;
}

TEST(CheckHost, RefusesANameAndWhatIsNoAddress) {
  for (const char* host : {"", "localhost", "bench.example.org", "127.1", "::1", "10.0.0.256"}) EXPECT_FALSE(check_host(host)) << host;
}

/// A pseudo-terminal: a port that no bus has.
class Port {
 public:
  Port() : master_(posix_openpt(O_RDWR | O_NOCTTY)) {
    grantpt(master_);
    unlockpt(master_);
    name = ptsname(master_);
  }
  ~Port() { close(master_); }
  std::string name;

 private:
  int master_;
};

std::vector<drivers::BusSpec> bus_at(const std::string& where) {
  std::vector<drivers::BusSpec> buses(1);
  buses[0].name = "line";
  buses[0].where = where;
  return buses;
}

TEST(CheckEnd, RefusesThePlaceOfABusAndSaysWhich) {
  const auto refused = check_end({"192.168.40.21", 502}, bus_at("192.168.40.21:502"));
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("bus `line`"), std::string::npos);
  EXPECT_FALSE(refused.error().hint.empty());
}

TEST(CheckEnd, TakesAnotherPortOrHostThanThatOfABus) {
  EXPECT_TRUE(check_end({"192.168.40.21", 5025}, bus_at("192.168.40.21:502")));
  EXPECT_TRUE(check_end({"192.168.40.2", 502}, bus_at("192.168.40.21:502")));
}

TEST(CheckDevice, TakesAPortThatNoBusHas) { EXPECT_TRUE(check_device(Port().name, bus_at("/dev/serial/by-id/other"))); }

TEST(CheckDevice, RefusesThePortOfABusAndSaysWhich) {
  const Port port;
  const auto refused = check_device(port.name, bus_at(port.name));
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().message.find("bus `line`"), std::string::npos);
}

TEST(CheckDevice, KnowsThePortOfABusByAnotherName) {
  const Port port;
  const std::string link = testing::TempDir() + "port_by_another_name";
  unlink(link.c_str());
  ASSERT_EQ(symlink(port.name.c_str(), link.c_str()), 0);
  EXPECT_FALSE(check_device(port.name, bus_at(link)));
  EXPECT_FALSE(check_device(link, bus_at(port.name)));
  unlink(link.c_str());
}

TEST(CheckDevice, RefusesWhatIsNoPort) {
  for (const char* path : {"", "/etc/passwd", "/dev/null", "/dev/mem", "/dev/../etc/passwd", "/dev/ttyNOSUCH"}) EXPECT_FALSE(check_device(path, {})) << path;
}

class Search : public testing::Test {
 protected:
  std::vector<drivers::BusSpec> buses;
  MeterSearch search{buses};
  nlohmann::json ask{{"who", "Ada"}, {"kind", "addresses"}, {"host", "127.0.0.1"}, {"port", 1}};
};

TEST_F(Search, BeforeTheFirstThereIsNone) { EXPECT_EQ(search.state({})["state"], "none"); }

TEST_F(Search, RefusesFiguresThatCannotBe) {
  for (const auto& [key, value] : std::vector<std::pair<std::string, nlohmann::json>>{{"port", 0}, {"port", 70000}, {"first", -1}, {"last", 999}, {"kind", "everything"}, {"kind", 3}, {"table", "drawer"}, {"count", 5000}, {"timeout_seconds", 100}}) {
    nlohmann::json wrong = ask;
    wrong[key] = value;
    const auto begun = search.begin(wrong);
    ASSERT_FALSE(begun) << key;
    EXPECT_NE(begun.error().message.find("`" + key + "`"), std::string::npos);
  }
}

TEST_F(Search, LeavesThePlaceOfABusAlone) {
  buses = bus_at("127.0.0.1:1");
  const auto begun = search.begin(ask);
  ASSERT_FALSE(begun);
  EXPECT_NE(begun.error().message.find("bus `line`"), std::string::npos);
  EXPECT_EQ(search.state({})["state"], "none");
}

/// A device that takes the connection and never says anything.
class Mute {
 public:
  Mute() : socket_(socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in at{};
    at.sin_family = AF_INET;
    at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof at;
    bind(socket_, reinterpret_cast<sockaddr*>(&at), size);
    listen(socket_, 8);
    getsockname(socket_, reinterpret_cast<sockaddr*>(&at), &size);
    port = ntohs(at.sin_port);
  }
  ~Mute() { close(socket_); }
  int port = 0;

 private:
  int socket_;
};

TEST_F(Search, OneAtATime) {
  const Mute mute;
  ask["port"] = mute.port;
  ask["last"] = 247;
  ask["timeout_seconds"] = 0.2;
  ASSERT_TRUE(search.begin(ask));
  EXPECT_FALSE(search.begin(ask));
  search.end();
  EXPECT_EQ(search.state({})["state"], "stopped");
  EXPECT_TRUE(search.begin(ask));
}

TEST(WiringDesk, StoppingItWaitsForNoQuestion) {
  const Mute mute;
  const Settings settings;
  const Facts facts;
  WiringDesk desk("none.toml", settings, facts, [](const std::string&, const std::string&) { return std::int64_t{0}; });
  ASSERT_TRUE(desk.carry_out({"wiring", "", "look", {{"who", "Ada"}, {"kind", "addresses"}, {"host", "127.0.0.1"}, {"port", mute.port}, {"timeout_seconds", 1.5}}}));
  // From here on the question is being asked, and nobody answers it.
  const auto is_asking = [&] { return desk.search([](const char*) { return std::string(); })["progress"]["total"] > 0; };
  for (int i = 0; i < 200 && !is_asking(); ++i) usleep(10'000);
  ASSERT_TRUE(is_asking());
  const auto began = std::chrono::steady_clock::now();
  desk.stop();
  EXPECT_LT(std::chrono::steady_clock::now() - began, std::chrono::milliseconds{500});
}

TEST_F(Search, SaysWhereNobodyListens) {
  ask["last"] = 1;
  ASSERT_TRUE(search.begin(ask));
  for (int i = 0; i < 200 && search.state({})["state"] == "running"; ++i) usleep(20'000);
  const auto state = search.state({});
  EXPECT_EQ(state["state"], "failed") << state;
  EXPECT_NE(state["trouble"], "") << state;
}

}  // namespace
}  // namespace steadyglow::app
