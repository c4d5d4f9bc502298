/// What is asked of the kernel's USBTMC driver. Such a device cannot be had without the hardware, so this program answers its two requests
/// itself, over a pseudo-terminal whose own read timeout stands for the kernel's: it proves the calls and the bounds, not the USB side.
#include <gtest/gtest.h>
#include <linux/usb/tmc.h>
#include <sys/ioctl.h>
#include <sys/syscall.h>
#include <termios.h>
#include <unistd.h>

#include <chrono>
#include <cstdarg>
#include <cstdlib>
#include <memory>
#include <string>
#include <vector>

#include "drivers/wire/wire.hpp"
#include "support/far_ends.hpp"

namespace {

struct Asked {
  std::vector<unsigned> timeouts_ms;
  int clears = 0;
};
Asked asked;

void set_read_timeout(int descriptor, unsigned milliseconds) {
  termios settings{};
  ::tcgetattr(descriptor, &settings);
  ::cfmakeraw(&settings);
  settings.c_cc[VMIN] = 0;
  settings.c_cc[VTIME] = static_cast<cc_t>(milliseconds / 100);  // tenths of a second
  ::tcsetattr(descriptor, TCSANOW, &settings);
}

}  // namespace

/// In place of the C library's, for this program: the kernel's answers to USBTMC requests, everything else as it is.
extern "C" int ioctl(int descriptor, unsigned long request, ...) noexcept {
  std::va_list rest;
  va_start(rest, request);
  void* argument = va_arg(rest, void*);
  va_end(rest);
  if (request == USBTMC_IOCTL_SET_TIMEOUT) {
    asked.timeouts_ms.push_back(*static_cast<unsigned*>(argument));
    set_read_timeout(descriptor, asked.timeouts_ms.back());
    return 0;
  }
  if (request == USBTMC_IOCTL_CLEAR) {
    ++asked.clears;
    ::tcflush(descriptor, TCIOFLUSH);
    return 0;
  }
  return static_cast<int>(::syscall(SYS_ioctl, descriptor, request, argument));
}

namespace steadyglow::drivers::wire {
namespace {

using namespace std::chrono_literals;

class UsbTmcDevice : public testing::Test {
 protected:
  void SetUp() override {
    asked = {};
    wire = make_wire(UsbTmc{pty.name}, counters);
    ASSERT_TRUE(wire->open(Clock::now() + 1s));
  }
  void say(const std::string& text) const { pty.end.say(text); }

  steadyglow::tests::Pty pty;
  BusCounters counters;
  std::unique_ptr<Wire> wire;
};

TEST_F(UsbTmcDevice, AMessageThatEndsWithoutANewlineGetsOne) {
  say("6.31");
  EXPECT_EQ(wire->read_some(Clock::now() + 1s).value(), "6.31\n");
  say("6.31\n");
  EXPECT_EQ(wire->read_some(Clock::now() + 1s).value(), "6.31\n");
}

TEST_F(UsbTmcDevice, TheKernelGetsWhatIsLeftOfTheDeadline) {
  const auto began = Clock::now();
  const auto some = wire->read_some(began + 350ms);
  ASSERT_FALSE(some);
  EXPECT_EQ(some.error().message, "no answer in time");
  EXPECT_TRUE(wire->is_open());
  EXPECT_LE(asked.timeouts_ms.back(), 350u);
  EXPECT_GE(asked.timeouts_ms.back(), 250u);
  EXPECT_LT(Clock::now() - began, 500ms);
}

TEST_F(UsbTmcDevice, NothingIsBegunThatTheKernelCouldNotEndInTime) {
  const std::size_t before = asked.timeouts_ms.size();
  const auto began = Clock::now();
  EXPECT_FALSE(wire->read_some(began + 60ms));
  EXPECT_FALSE(wire->write("*IDN?\n", began + 60ms));
  EXPECT_EQ(asked.timeouts_ms.size(), before);
  EXPECT_LT(Clock::now() - began, 60ms);
}

TEST_F(UsbTmcDevice, ClearingAsksTheDeviceToClear) {
  say("late\n");
  ASSERT_TRUE(wire->clear(Clock::now() + 1s));
  EXPECT_EQ(asked.clears, 1);
  EXPECT_FALSE(wire->read_some(Clock::now() + 150ms));
}

}  // namespace
}  // namespace steadyglow::drivers::wire
