/// The search for an SCPI instrument while somebody stops it.
#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <string>
#include <thread>

#include "drivers/scpi/find.hpp"
#include "drivers/talker.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using namespace std::chrono_literals;

TEST(ScpiFind, StoppedBehindItsNameItAsksNothingMore) {
  tests::TcpTalker instrument;
  std::atomic<bool> stop{false};
  std::thread device([&] {
    instrument.pick_up();
    while (instrument.hear() != "*IDN?\n") {}
    instrument.say("Ourselves,M1,0001,1.0\n");
    (void)instrument.hear();  // the first question behind the name is never answered
    stop = true;
  });
  const auto began = std::chrono::steady_clock::now();
  const auto found = find_instrument(instrument.end(), {}, {}, stop);
  device.join();
  ASSERT_TRUE(found) << found.error().text();
  EXPECT_EQ(found->identity, "Ourselves,M1,0001,1.0");
  EXPECT_LT(std::chrono::steady_clock::now() - began, 4s);
}

}  // namespace
}  // namespace steadyglow::drivers::scpi
