#include "demo/bench/modbus_frames.hpp"

#include <gtest/gtest.h>

namespace steadyglow::demo {
namespace {

// MODBUS over Serial Line V1.02 gives the algorithm; this request and its CRC are widely printed (from memory).
const Bytes read_ten{0x01, 0x03, 0x00, 0x00, 0x00, 0x0a, 0xc5, 0xcd};

TEST(SerialFrames, AWholeFrameComesOutHoweverItArrives) {
  SerialFrames frames;
  for (const std::uint8_t byte : read_ten) {
    EXPECT_FALSE(frames.next().has_value());
    frames.add({{byte}});
  }
  EXPECT_EQ(frames.next(), read_ten);
  EXPECT_FALSE(frames.next().has_value());
}

TEST(SerialFrames, ABadCrcIsNoFrame) {
  SerialFrames frames;
  Bytes bad = read_ten;
  bad[3] ^= 1;
  frames.add(bad);
  EXPECT_FALSE(frames.next().has_value());
  frames.add(read_ten);
  EXPECT_EQ(frames.next(), read_ten);
}

TEST(SerialFrames, NoiseIsForgottenAfterAPause) {
  SerialFrames frames;
  frames.add(Bytes{0x55, 0x99, 0x12});
  EXPECT_FALSE(frames.next().has_value());
  frames.pause();
  frames.add(read_ten);
  EXPECT_EQ(frames.next(), read_ten);
}

TEST(SerialFrames, EndlessNoiseIsBounded) {
  SerialFrames frames;
  for (int i = 0; i < 1000; ++i) {
    frames.add(Bytes(100, 0x7e));
    (void)frames.next();
  }
  frames.pause();
  EXPECT_TRUE(frames.is_empty());
}

TEST(TcpFrames, TwoRequestsInOnePacketAreTwo) {
  const Bytes request{0, 1, 0, 0, 0, 6, 1, 4, 0, 0, 0, 8};
  TcpFrames frames;
  Bytes both = request;
  both.insert(both.end(), request.begin(), request.end());
  frames.add(both);
  EXPECT_EQ(frames.next(), request);
  EXPECT_EQ(frames.next(), request);
  EXPECT_FALSE(frames.next().has_value());
}

TEST(TcpFrames, AnotherProtocolIsLost) {
  TcpFrames frames;
  const std::string text = "GET / HTTP/1.1\r\n";
  frames.add(Bytes(text.begin(), text.end()));
  EXPECT_FALSE(frames.next().has_value());
  EXPECT_TRUE(frames.is_lost());
}

TEST(Requests, CountsMustFitTheirBytes) {
  EXPECT_TRUE(is_well_formed(Bytes{0x0f, 0, 0, 0, 3, 1, 0x05}));
  EXPECT_FALSE(is_well_formed(Bytes{0x0f, 0, 0, 0, 30, 1, 0x05}));
  EXPECT_FALSE(is_well_formed(Bytes{0x10, 0, 0, 0, 2, 2, 0, 1}));
  EXPECT_FALSE(is_well_formed(Bytes{0x03, 0, 0, 0}));
}

}  // namespace
}  // namespace steadyglow::demo
