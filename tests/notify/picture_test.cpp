/// The picture of the last two hours: that it is a picture, of the right size, and what its pixels say.
#include "notify/picture.hpp"

#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>

namespace steadyglow::notify {
namespace {

Picture two_hours() {
  Picture picture;
  picture.title = "Brindlecombe 35, the last two hours of its run";
  picture.from_s = 17000.0;
  picture.to_s = 24200.0;
  picture.cut_s = 24100.0;
  Trace tube{"v3_cathode_mv", "mV", {}, 304.0, 456.0, {}, 554.0};
  Trace neighbour{"v1_cathode_mv", "mV", {}, 304.0, 456.0, {}, 554.0};
  for (int i = 0; i < 160; ++i) {
    tube.values.push_back(i < 120 ? 380.0 + (i % 3) : 380.0 + std::min(180.0, 4.0 * (i - 120)));
    neighbour.values.push_back(i > 60 && i < 75 ? std::nullopt : std::optional(378.0 + (i % 2)));
  }
  picture.traces = {tube, neighbour};
  return picture;
}

unsigned big_endian(const std::string& bytes, std::size_t at) {
  unsigned value = 0;
  for (std::size_t i = at; i < at + 4; ++i) value = value << 8 | static_cast<unsigned char>(bytes[i]);
  return value;
}

TEST(Picture, IsAPngOfItsSize) {
  const auto png = draw_picture(two_hours());
  ASSERT_TRUE(png) << png.error().text();
  ASSERT_EQ(png->substr(0, 8), std::string("\x89PNG\r\n\x1a\n"));
  EXPECT_EQ(big_endian(*png, 16), static_cast<unsigned>(picture_width));
  EXPECT_EQ(big_endian(*png, 20), 70u + 2u * trace_height);
  EXPECT_LT(png->size(), 60'000u) << "a telephone on a bad line gets it too";
  if (const char* file = std::getenv("STEADYGLOW_PICTURE")) std::ofstream(file, std::ios::binary) << *png;
}

TEST(Picture, OfNothingIsRefused) {
  EXPECT_FALSE(draw_picture({}));
  Picture empty = two_hours();
  empty.to_s = empty.from_s;
  EXPECT_FALSE(draw_picture(empty));
}

TEST(Picture, OfAPointWithoutAnyReadingIsStillOne) {
  Picture picture = two_hours();
  for (auto& value : picture.traces[0].values) value.reset();
  EXPECT_TRUE(draw_picture(picture));
}

TEST(Picture, IsTheSameForTheSame) { EXPECT_EQ(*draw_picture(two_hours()), *draw_picture(two_hours())); }

}  // namespace
}  // namespace steadyglow::notify
