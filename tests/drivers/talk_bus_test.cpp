/// The connection of a device that talks: one that comes about late, one that is half gone, and how long a call may take.
#include "drivers/lines/talk_bus.hpp"

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <memory>
#include <string>
#include <string_view>
#include <thread>
#include <utility>

#include "drivers/lines/lines_talk.hpp"
#include "drivers/talker.hpp"

namespace steadyglow::drivers::lines {
namespace {

using namespace std::chrono_literals;
using tests::PtyTalker;
using tests::TcpTalker;

constexpr TalkOptions quick{.timeout = 60ms, .stale_after = 150ms, .settle = 0ms, .ask = {}};

std::unique_ptr<TalkBus> bus_to(wire::Place place, TalkOptions options = quick) {
  Instrument instrument;
  Channel channel;
  channel.name = channel.key = "t1";
  instrument.channels = {channel};
  return std::make_unique<TalkBus>(std::move(place), std::make_unique<LinesTalk>(std::move(instrument), ""), std::move(options));
}

/// A listener with room for one caller whom nobody has taken yet: the kernel drops the first packet of a second one, who asks again after
/// a second (RFC 6298, section 2: the first retransmission timeout).
class BusyListener {
 public:
  BusyListener() : socket_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)), first_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    address_.sin_family = AF_INET;
    address_.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address_;
    EXPECT_EQ(::bind(socket_, reinterpret_cast<sockaddr*>(&address_), size), 0);
    EXPECT_EQ(::listen(socket_, 0), 0);
    ::getsockname(socket_, reinterpret_cast<sockaddr*>(&address_), &size);
    EXPECT_EQ(::connect(first_, reinterpret_cast<sockaddr*>(&address_), size), 0);
  }
  BusyListener(const BusyListener&) = delete;
  BusyListener& operator=(const BusyListener&) = delete;
  ~BusyListener() {
    for (const int each : {socket_, first_, call_}) ::close(each);
  }
  TcpEnd end() const { return {"127.0.0.1", ntohs(address_.sin_port)}; }
  /// Makes room, and waits for the second caller.
  void pick_up() {
    ::close(::accept4(socket_, nullptr, nullptr, SOCK_CLOEXEC));
    call_ = ::accept4(socket_, nullptr, nullptr, SOCK_CLOEXEC);
  }
  void say(std::string_view bytes) const { EXPECT_EQ(::send(call_, bytes.data(), bytes.size(), MSG_NOSIGNAL), static_cast<ssize_t>(bytes.size())); }

 private:
  int socket_;
  int first_;
  int call_ = -1;
  sockaddr_in address_{};
};

TEST(TalkConnection, WhatAServerKeptIsOldAlsoWhenTheConnectionWasLongInComing) {
  BusyListener server;
  const auto bus = bus_to(server.end(), {.timeout = 4s, .stale_after = 5s, .settle = 400ms, .ask = {}});
  std::thread serves([&] {
    std::this_thread::sleep_for(200ms);
    server.pick_up();
    std::this_thread::sleep_for(50ms);
    server.say("\nt1=85.0\nt1=86.0\n");
    std::this_thread::sleep_for(1s);
    server.say("\nt1=23.4\n");
  });
  const auto began = wire::Clock::now();
  const MeterReply reply = bus->read(0);
  EXPECT_GT(wire::Clock::now() - began, 900ms);  // else nothing was slow about it
  EXPECT_EQ(reply.channels[0].value, 23.4) << reply.trouble;
  EXPECT_LT(wire::Clock::now() - began, bus->call_deadline());
  serves.join();
}

TEST(TalkConnection, IsMadeAnewWhenNothingComesAnyMore) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end());
  (void)bus->read(0);
  talker.pick_up();
  talker.say("\nt1=1\n");
  ASSERT_EQ(bus->read(0).channels[0].value, 1.0);
  // The server lost its supply: it says no more on this connection, and no word of farewell.
  const auto until = wire::Clock::now() + 10s;
  std::string told;
  while (bus->counters().reconnects == 0 && wire::Clock::now() < until) told += bus->read(0).trouble + "\n";
  ASSERT_EQ(bus->counters().reconnects, 1u);
  EXPECT_NE(told.find("the connection is made anew"), std::string::npos) << told;
  talker.pick_up();
  talker.say("\nt1=7\n");
  EXPECT_EQ(bus->read(0).channels[0].value, 7.0);
}

TEST(TalkConnection, IsKeptWhileAnythingComes) {
  TcpTalker talker;
  const auto bus = bus_to(talker.end());
  (void)bus->read(0);
  talker.pick_up();
  const auto until = wire::Clock::now() + 2 * silences_until_anew * quick.stale_after;
  while (wire::Clock::now() < until) {
    talker.say("noise\n");
    (void)bus->read(0);
  }
  EXPECT_EQ(bus->counters().reconnects, 0u);
}

TEST(TalkConnection, ASilentSerialLineIsLeftAlone) {
  PtyTalker talker;
  const auto bus = bus_to(wire::SerialEnd{.line = {.device = talker.path(), .baud = 115200}});
  const auto until = wire::Clock::now() + 2 * silences_until_anew * quick.stale_after;
  while (wire::Clock::now() < until) (void)bus->read(0);
  EXPECT_EQ(bus->counters().reconnects, 0u);
}

TEST(TalkConnection, NoTimeoutMakesACallLongerThanTheWatchdogAllows) {
  const TcpEnd nobody{"127.0.0.1", 1};
  EXPECT_EQ(bus_to(nobody, {.timeout = 10s, .stale_after = 20s, .settle = 2s, .ask = {}})->call_deadline(), call_deadline_most);
  EXPECT_EQ(bus_to(nobody, {.timeout = 1s, .stale_after = 3s, .settle = 200ms, .ask = {}})->call_deadline(), 2700ms);
}

TEST(TalkConnection, SaysWhatToDoAboutAPortThatIsNotThere) {
  const auto bus = bus_to(wire::SerialEnd{.line = {.device = "/dev/serial/by-id/nobody", .baud = 115200}});
  EXPECT_NE(bus->read(0).trouble.find("(is it plugged in?"), std::string::npos);
}

}  // namespace
}  // namespace steadyglow::drivers::lines
