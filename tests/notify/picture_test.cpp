/// The picture of the last two hours: what its pixels say.
#include "notify/picture.hpp"

#include <cairo.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <functional>
#include <memory>

namespace steadyglow::notify {
namespace {

constexpr int stretches = 160;

Trace trace(const std::string& name, const std::string& uom, const std::function<std::optional<double>(int)>& value) {
  Trace trace{name, uom, {}, {}, {}, {}, {}};
  for (int i = 0; i < stretches; ++i) trace.values.push_back(value(i));
  return trace;
}

/// One tube of four runs away and is cut; beside it a neighbour with a gap, the watts and the transformer.
Picture two_hours() {
  Picture picture;
  picture.title = "Brindlecombe 35, the last two hours of its run";
  picture.from_s = 17000.0;
  picture.to_s = 24200.0;
  picture.cut_s = 23750.0;
  Trace tube = trace("v3_cathode_mv", "mV", [](int i) { return i >= 150 ? 0.0 : i < 145 ? 380.0 + (i % 3) : 380.0 + 36.0 * (i - 144); });
  tube.warn_low = 304.0, tube.warn_high = 456.0, tube.trip_high = 554.0;
  Trace neighbour = trace("v1_cathode_mv", "mV", [](int i) { return i > 60 && i < 75 ? std::nullopt : std::optional(i >= 150 ? 0.0 : 378.0 + (i % 2)); });
  neighbour.warn_low = 304.0, neighbour.warn_high = 456.0;
  picture.traces = {tube, neighbour, trace("watts", "W", [](int i) { return i >= 150 ? 0.0 : 212.0 + 0.4 * (i % 4); }), trace("transformer_c", "°C", [](int i) { return 41.0 + i / 40.0; })};
  return picture;
}

unsigned big_endian(const std::string& bytes, std::size_t at) {
  unsigned value = 0;
  for (std::size_t i = at; i < at + 4; ++i) value = value << 8 | static_cast<unsigned char>(bytes[i]);
  return value;
}

/// The picture's pixels again, as a program that shows it would have them.
class Pixels {
 public:
  explicit Pixels(std::string png) : png_(std::move(png)) {
    const auto give = [](void* from, unsigned char* to, unsigned size) {
      auto* self = static_cast<Pixels*>(from);
      if (self->at_ + size > self->png_.size()) return CAIRO_STATUS_READ_ERROR;
      std::memcpy(to, self->png_.data() + self->at_, size);
      self->at_ += size;
      return CAIRO_STATUS_SUCCESS;
    };
    surface_.reset(cairo_image_surface_create_from_png_stream(give, this));
    cairo_surface_flush(surface_.get());
  }
  /// How many of this colour stand in the columns from `begin` to `end` of the layout.
  int count(double begin, double end, const std::function<bool(int r, int g, int b)>& is_it) const {
    int count = 0;
    const unsigned char* data = cairo_image_surface_get_data(surface_.get());
    const int stride = cairo_image_surface_get_stride(surface_.get());
    for (int y = 0; y < picture_height * picture_scale; ++y)
      for (int x = static_cast<int>(begin * picture_scale); x < static_cast<int>(end * picture_scale); ++x) {
        const unsigned char* pixel = data + y * stride + 4 * x;
        if (is_it(pixel[2], pixel[1], pixel[0])) ++count;
      }
    return count;
  }
  /// Mean of all, 0 to 255.
  double lightness() const {
    double sum = 0.0;
    count(0, picture_width, [&](int r, int g, int b) { return sum += (r + g + b) / 3.0, false; });
    return sum / (picture_width * picture_scale * picture_height * picture_scale);
  }

 private:
  struct Free {
    void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
  };
  std::string png_;
  std::size_t at_ = 0;
  std::unique_ptr<cairo_surface_t, Free> surface_;
};

bool is_red(int r, int g, int b) { return r > 130 && g < 80 && b < 80; }

void keep(const char* name, const std::string& png) {
  if (const char* folder = std::getenv("STEADYGLOW_PICTURES")) std::ofstream(std::string(folder) + "/" + name + ".png", std::ios::binary) << png;
}

std::string drawn(const char* name, const Picture& picture) {
  const auto png = draw_picture(picture);
  EXPECT_TRUE(png) << name;
  keep(name, *png);
  return *png;
}

TEST(Picture, IsAPngOfItsSizeHoweverManyTracesItHas) {
  for (std::size_t count = 1; count <= 6; ++count) {
    Picture picture = two_hours();
    const Trace last = picture.traces.back();
    picture.traces.resize(count, last);
    const std::string png = drawn(("traces_" + std::to_string(count)).c_str(), picture);
    ASSERT_EQ(png.substr(0, 8), std::string("\x89PNG\r\n\x1a\n"));
    EXPECT_EQ(big_endian(png, 16), static_cast<unsigned>(picture_width * picture_scale));
    EXPECT_EQ(big_endian(png, 20), static_cast<unsigned>(picture_height * picture_scale));
    EXPECT_LT(png.size(), 120'000u) << "a telephone on a bad line gets it too";
  }
}

TEST(Picture, IsLight) { EXPECT_GT(Pixels(drawn("light", two_hours())).lightness(), 225.0); }

TEST(Picture, MarksTheMomentOfTheCutThroughEveryPanel) {
  Picture picture = two_hours();
  for (Trace& trace : picture.traces) trace.trip_high.reset();
  // From 52 to 588 of 600: the cut stands at 6750 s of 7200 s.
  const double at = 52.0 + 536.0 * 6750.0 / 7200.0;
  const int with = Pixels(drawn("cut", picture)).count(at - 1.0, at + 1.0, is_red);
  picture.cut_s.reset();
  const int without = Pixels(drawn("no_cut", picture)).count(at - 1.0, at + 1.0, is_red);
  EXPECT_GT(with, 2 * 250) << "nearly the whole height";
  EXPECT_EQ(without, 0);
}

TEST(Picture, DoesNotMarkACutOfLongAgo) {
  Picture picture = two_hours();
  for (Trace& trace : picture.traces) trace.trip_high.reset();
  picture.cut_s = 100.0;
  EXPECT_EQ(Pixels(drawn("cut_before", picture)).count(0, picture_width, is_red), 0);
}

TEST(Picture, HatchesAGapAndDrawsNoLineThroughIt) {
  Picture picture = two_hours();
  picture.traces = {trace("watts", "W", [](int i) { return i > 60 && i < 100 ? std::nullopt : std::optional(200.0); })};
  const Pixels pixels(drawn("gap", picture));
  const auto x_of = [](double stretch) { return 52.0 + 536.0 * stretch / stretches; };
  const auto is_curve = [](int r, int g, int b) { return r < 60 && g < 120 && b > 90; };
  const auto is_hatch = [](int r, int, int b) { return r > 140 && r < 215 && b < 200 && r - b > 15; };
  EXPECT_EQ(pixels.count(x_of(62), x_of(99), is_curve), 0);
  EXPECT_GT(pixels.count(x_of(62), x_of(99), is_hatch), 500);
  EXPECT_GT(pixels.count(x_of(20), x_of(50), is_curve), 100);
}

TEST(Picture, ShowsALimitThatIsNearAndLeavesOutOneThatIsFar) {
  Picture picture = two_hours();
  picture.cut_s.reset();
  picture.traces = {trace("watts", "W", [](int i) { return 200.0 + (i % 2); })};
  picture.traces[0].trip_high = 210.0;
  EXPECT_GT(Pixels(drawn("limit_near", picture)).count(0, picture_width, is_red), 300);
  picture.traces[0].trip_high = 900.0;
  EXPECT_EQ(Pixels(drawn("limit_far", picture)).count(0, picture_width, is_red), 0) << "it would flatten the curve";
}

TEST(Picture, NamesTwoLimitsThatStandCloseAndOneAtTheVeryEdge) {
  Picture picture = two_hours();
  picture.traces[0] = trace("v3_cathode_mv", "mV", [](int i) { return 380.0 + i / 4.0; });
  picture.traces[0].warn_high = 420.0, picture.traces[0].trip_high = 423.0, picture.traces[0].warn_low = 379.0;
  EXPECT_NE(drawn("close_limits", picture), "");
}

TEST(Picture, OfNothingIsRefused) {
  EXPECT_FALSE(draw_picture({}));
  Picture empty = two_hours();
  empty.to_s = empty.from_s;
  EXPECT_FALSE(draw_picture(empty));
  empty.to_s = NAN;
  EXPECT_FALSE(draw_picture(empty));
}

TEST(Picture, OfAPointWithoutAnyReadingIsStillOne) {
  Picture picture = two_hours();
  for (auto& value : picture.traces[0].values) value.reset();
  picture.traces[1].values.clear();
  EXPECT_NE(drawn("no_reading", picture), "");
}

TEST(Picture, OfTheFirstSecondsAndOfStrangeValuesIsStillOne) {
  Picture picture = two_hours();
  picture.from_s = 0.0;
  picture.to_s = 0.001;
  picture.traces[0].values = {0.0};
  picture.traces[1].values = {INFINITY, NAN, -1e300};
  EXPECT_NE(drawn("strange", picture), "");
}

TEST(Picture, TakesATitleOfAnyLengthScriptOrBytes) {
  Picture picture = two_hours();
  picture.title = "Verstärker Ωμέγα Усилитель, a name so long that it does not fit beside anything else on a small telephone, the last two hours";
  EXPECT_NE(drawn("long_title", picture), "");
  picture.title = "bad \xff bytes <b>&";
  EXPECT_NE(drawn("bad_title", picture), "");
}

TEST(Picture, IsTheSameForTheSame) { EXPECT_EQ(drawn("same", two_hours()), *draw_picture(two_hours())); }

}  // namespace
}  // namespace steadyglow::notify
