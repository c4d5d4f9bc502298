/// Bytes over real sockets and pseudo-terminals. A USBTMC device cannot be had on a machine without one: here a pseudo-terminal stands behind its
/// path, which proves what is done where the kernel's requests are not known.
#include "drivers/wire/wire.hpp"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <cstdlib>
#include <memory>
#include <string>
#include <thread>

#include "support/far_ends.hpp"

namespace steadyglow::drivers::wire {
namespace {

using namespace std::chrono_literals;
using steadyglow::tests::Descriptor;
using steadyglow::tests::Listener;
using steadyglow::tests::Pty;

/// A busy machine may wake us late.
constexpr auto scheduling_slack = 150ms;

Deadline in(std::chrono::milliseconds span) { return Clock::now() + span; }

SerialEnd line_at(const std::string& name) { return {.line = {.device = name, .baud = 9600}}; }

TEST(Wire, CarriesBytesBothWaysOverTcp) {
  const Listener listener;
  BusCounters counters;
  const auto wire = make_wire(listener.end(), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  const Descriptor device(listener.take());
  ASSERT_TRUE(wire->write("*IDN?\n", in(1s)));
  EXPECT_EQ(device.hear(), "*IDN?\n");
  device.say("a");
  EXPECT_EQ(wire->read_some(in(1s)).value(), std::string("a"));
}

TEST(Wire, CarriesEveryByteOverASerialLineAsItIs) {
  Pty pty;
  BusCounters counters;
  const auto wire = make_wire(line_at(pty.name), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  std::string all;
  for (int i = 0; i < 256; ++i) all += static_cast<char>(i);
  pty.end.say(all);
  std::string got;
  while (got.size() < all.size()) {
    const auto some = wire->read_some(in(1s));
    ASSERT_TRUE(some) << some.error().text();
    got += *some;
  }
  EXPECT_EQ(got, all);
  ASSERT_TRUE(wire->write(all, in(1s)));
  std::string heard;
  while (heard.size() < all.size()) {
    const std::string some = pty.end.hear();
    ASSERT_FALSE(some.empty());
    heard += some;
  }
  EXPECT_EQ(heard, all);
}

TEST(Wire, SilenceEndsAtTheDeadlineAndLeavesItOpen) {
  Pty pty;
  const Listener listener;
  BusCounters counters;
  for (const Place& place : {Place(line_at(pty.name)), Place(listener.end())}) {
    const auto wire = make_wire(place, counters);
    ASSERT_TRUE(wire->open(in(1s)));
    const auto began = Clock::now();
    const auto some = wire->read_some(in(80ms));
    ASSERT_FALSE(some);
    EXPECT_EQ(some.error().message, "no answer in time");
    EXPECT_TRUE(wire->is_open());
    EXPECT_GE(Clock::now() - began, 80ms);
    EXPECT_LT(Clock::now() - began, 80ms + scheduling_slack);
  }
}

TEST(Wire, AnEndThatLeftClosesIt) {
  BusCounters counters;
  auto pty = std::make_unique<Pty>();
  const auto line = make_wire(line_at(pty->name), counters);
  ASSERT_TRUE(line->open(in(1s)));
  pty.reset();
  EXPECT_EQ(line->read_some(in(1s)).error().message, "the port is gone");
  EXPECT_FALSE(line->is_open());
  const Listener listener;
  const auto tcp = make_wire(listener.end(), counters);
  ASSERT_TRUE(tcp->open(in(1s)));
  Descriptor(listener.take()).close();
  EXPECT_FALSE(tcp->read_some(in(1s)));
  EXPECT_FALSE(tcp->is_open());
}

TEST(Wire, APortThatIsNotThereIsNotTriedAtEachCall) {
  BusCounters counters;
  Listener listener;
  const auto wire = make_wire(listener.end(), counters);
  listener.socket.close();
  const auto first = wire->open(in(1s));
  ASSERT_FALSE(first);
  EXPECT_NE(first.error().message.find("refused"), std::string::npos) << first.error().text();
  const Listener other;  // what the next try would find is not asked for yet
  const auto began = Clock::now();
  EXPECT_FALSE(wire->open(in(1s)));
  EXPECT_LT(Clock::now() - began, 20ms);
  EXPECT_EQ(wire->session(), 0u);
}

TEST(Wire, CountsItsOpenings) {
  Pty pty;
  BusCounters counters;
  const auto wire = make_wire(line_at(pty.name), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  ASSERT_TRUE(wire->open(in(1s)));
  EXPECT_EQ(wire->session(), 1u);
  wire->close();
  ASSERT_TRUE(wire->open(in(1s)));
  EXPECT_EQ(wire->session(), 2u);
  EXPECT_EQ(counters.reconnects, 1u);
}

TEST(Wire, ASerialLineHasOneOwner) {
  Pty pty;
  BusCounters counters;
  const auto first = make_wire(line_at(pty.name), counters);
  const auto second = make_wire(line_at(pty.name), counters);
  ASSERT_TRUE(first->open(in(1s)));
  const auto opened = second->open(in(1s));
  ASSERT_FALSE(opened);
  EXPECT_NE(opened.error().message.find("another program holds it"), std::string::npos) << opened.error().text();
  first->close();
  EXPECT_TRUE(second->open_now(in(1s)));
}

TEST(Wire, WhatItTookForItselfIsNotLeftShutWhenItEndsOrIsKilled) {
  Pty pty;
  const Descriptor other(::open(pty.name.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC));  // as the far program keeps it, from one of us to the next
  const auto is_shut = [&] {
    int is_exclusive = -1;
    EXPECT_EQ(::ioctl(other.get(), TIOCGEXCL, &is_exclusive), 0);
    return is_exclusive != 0;
  };
  BusCounters counters;
  auto wire = make_wire(line_at(pty.name), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  EXPECT_FALSE(is_shut());  // killed now, it could not undo it
  wire.reset();
  EXPECT_FALSE(is_shut());
}

TEST(Wire, SaysWhatToDoWhenADeviceCannotBeOpened) {
  BusCounters counters;
  for (const Place& place : {Place(line_at("/dev/serial/by-id/nobody")), Place(UsbTmc{"/dev/steadyglow/nobody"})}) {
    const auto opened = make_wire(place, counters)->open(in(1s));
    ASSERT_FALSE(opened);
    EXPECT_EQ(opened.error().message, "cannot open: No such file or directory");
    EXPECT_NE(opened.error().hint.find("`steadyglow devices`"), std::string::npos) << opened.error().hint;
  }
}

/// A busy machine may spoil some turns: it lets the far end rest for a guard_silence, or wakes us late. A fault spoils all of them.
template <class Turn>
bool comes_true(Turn turn) {
  constexpr int turns = 20;
  for (int i = 0; i < turns; ++i)
    if (turn()) return true;
  return false;
}

TEST(Wire, ClearingALineThrowsAwayWhatComesUntilItIsSilent) {
  EXPECT_TRUE(comes_true([] {
    Pty pty;
    BusCounters counters;
    const auto wire = make_wire(line_at(pty.name), counters);
    if (!wire->open(in(1s))) return false;
    pty.end.say("late 1\n");
    std::thread dribble([&] {
      std::this_thread::sleep_for(15ms);
      pty.end.say("late 2\n");
    });
    const bool is_clear = wire->clear(in(1s)).has_value();
    dribble.join();
    pty.end.say("now\n");
    const auto heard = wire->read_some(in(1s));
    return is_clear && heard && *heard == "now\n";
  }));
}

TEST(Wire, ALineThatNeverFallsSilentHoldsNobody) {
  Pty pty;
  BusCounters counters;
  const auto wire = make_wire(line_at(pty.name), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  std::atomic<bool> is_over{false};
  ::fcntl(pty.end.get(), F_SETFL, O_NONBLOCK);
  std::thread babble([&] {
    while (!is_over)
      if (::write(pty.end.get(), "babble\n", 7) < 0) std::this_thread::yield();
  });
  EXPECT_TRUE(comes_true([&] {
    std::this_thread::sleep_for(20ms);
    const auto began = Clock::now();
    return !wire->clear(in(5s)) && Clock::now() - began < clear_max + scheduling_slack;
  }));
  is_over = true;
  babble.join();
}

TEST(Wire, TheKernelAsksASilentTcpPeerWhetherItIsThere) {
  const Listener listener;
  BusCounters counters;
  const auto wire = make_wire(listener.end(), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  const auto option = [](int descriptor, int level, int name) {
    int value = 0;
    socklen_t size = sizeof value;
    return ::getsockopt(descriptor, level, name, &value, &size) == 0 ? value : -1;
  };
  int found = 0;
  for (int descriptor = 3; descriptor < 256; ++descriptor) {  // the wire's own, told by where it leads
    sockaddr_in peer{};
    socklen_t size = sizeof peer;
    if (::getpeername(descriptor, reinterpret_cast<sockaddr*>(&peer), &size) != 0 || ntohs(peer.sin_port) != listener.port) continue;
    ++found;
    EXPECT_EQ(option(descriptor, SOL_SOCKET, SO_KEEPALIVE), 1);
    const int worst = option(descriptor, IPPROTO_TCP, TCP_KEEPIDLE) + option(descriptor, IPPROTO_TCP, TCP_KEEPINTVL) * option(descriptor, IPPROTO_TCP, TCP_KEEPCNT);
    EXPECT_GT(worst, 0);
    EXPECT_LE(worst, 15);  // seconds
  }
  EXPECT_EQ(found, 1);
}

TEST(Wire, ClearingATcpConnectionMakesItAnewSoThatALateAnswerDiesWithTheOld) {
  const Listener listener;
  BusCounters counters;
  const auto wire = make_wire(listener.end(), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  const Descriptor old(listener.take());
  old.say("late\n");
  ASSERT_TRUE(wire->clear(in(1s)));
  const Descriptor fresh(listener.take());
  EXPECT_EQ(wire->session(), 2u);
  EXPECT_FALSE(wire->read_some(in(30ms)));
  fresh.say("now\n");
  EXPECT_EQ(wire->read_some(in(1s)).value(), "now\n");
}

TEST(Wire, ADeviceFileWithoutUsbRequestsIsReadAsBytes) {
  Pty pty;
  termios raw{};
  ::tcgetattr(pty.end.get(), &raw);
  ::cfmakeraw(&raw);
  ::tcsetattr(pty.end.get(), TCSANOW, &raw);
  BusCounters counters;
  const auto wire = make_wire(UsbTmc{pty.name}, counters);
  ASSERT_TRUE(wire->open(in(1s)));
  ASSERT_TRUE(wire->write("*IDN?\n", in(1s)));
  EXPECT_EQ(pty.end.hear(), "*IDN?\n");
  pty.end.say("maker\n");
  EXPECT_EQ(wire->read_some(in(1s)).value(), "maker\n");
  pty.end.say("late\n");
  ASSERT_TRUE(wire->clear(in(1s)));
  EXPECT_FALSE(wire->read_some(in(50ms)));
  EXPECT_TRUE(wire->is_open());
}

TEST(Wire, APeerThatTakesNoBytesHoldsNobodyPastTheDeadline) {
  const Listener listener;
  BusCounters counters;
  const auto wire = make_wire(listener.end(), counters);
  ASSERT_TRUE(wire->open(in(1s)));
  const Descriptor device(listener.take());
  const std::string much(64 * 1024 * 1024, 'x');
  const auto began = Clock::now();
  EXPECT_FALSE(wire->write(much, in(100ms)));
  EXPECT_LT(Clock::now() - began, 100ms + 3 * scheduling_slack);
}

}  // namespace
}  // namespace steadyglow::drivers::wire
