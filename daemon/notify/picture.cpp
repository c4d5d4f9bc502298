#include "notify/picture.hpp"

#include <cairo.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "core/decimal.hpp"

namespace steadyglow::notify {
namespace {

constexpr double left = 64.0, right = 14.0, head = 40.0, foot = 30.0, gap = 26.0;
constexpr int digits = 3;

struct Colour {
  double r, g, b;
};
constexpr Colour ground{1.0, 0.992, 0.976}, ink{0.114, 0.098, 0.078}, soft{0.35, 0.31, 0.25}, line{0.86, 0.81, 0.73}, warn{0.48, 0.33, 0.0}, trip{0.66, 0.14, 0.10}, curve{0.54, 0.28, 0.02};

struct FreeSurface {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
};
struct FreeContext {
  void operator()(cairo_t* context) const { cairo_destroy(context); }
};

void use(cairo_t* to, Colour colour) { cairo_set_source_rgb(to, colour.r, colour.g, colour.b); }

void say(cairo_t* to, double x, double y, const std::string& text, double size, Colour colour, bool is_bold = false, bool is_right = false) {
  cairo_select_font_face(to, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL, is_bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(to, size);
  cairo_text_extents_t extents;
  cairo_text_extents(to, text.c_str(), &extents);
  use(to, colour);
  cairo_move_to(to, is_right ? x - extents.x_advance : x, y);
  cairo_show_text(to, text.c_str());
}

std::string clock(double seconds) {
  const auto minutes = static_cast<long>(std::floor(seconds / 60.0));
  return fmt::format("{}:{:02} h", minutes / 60, minutes % 60);
}

/// The span of what is shown: the values, and a limit where they come near it.
std::pair<double, double> span_of(const Trace& trace) {
  double low = INFINITY, high = -INFINITY;
  for (const auto& value : trace.values)
    if (value) low = std::min(low, *value), high = std::max(high, *value);
  if (low > high) return {0.0, 1.0};
  const double reach = std::max(high - low, 0.05 * std::max(std::fabs(low), std::fabs(high)));
  // What stands still is drawn as standing still: its noise does not fill the panel.
  const double middle = (low + high) / 2.0;
  low = std::min(low, middle - reach / 2.0), high = std::max(high, middle + reach / 2.0);
  for (const auto& limit : {trace.warn_low, trace.warn_high, trace.trip_low, trace.trip_high})
    if (limit && *limit > low - 1.5 * reach && *limit < high + 1.5 * reach) low = std::min(low, *limit), high = std::max(high, *limit);
  const double room = 0.08 * std::max(high - low, reach);
  return {low - room, high + room};
}

class Drawing {
 public:
  Drawing(cairo_t* to, const Picture& picture) : to_(to), picture_(picture) {}

  void draw() {
    use(to_, ground);
    cairo_paint(to_);
    say(to_, left, 24.0, picture_.title, 15.0, ink, true);
    double top = head;
    for (const Trace& trace : picture_.traces) {
      if (&trace - picture_.traces.data() == static_cast<std::ptrdiff_t>(traces_max)) break;
      panel(trace, top);
      top += trace_height;
    }
    constexpr int marks = 4;
    for (int i = 0; i <= marks; ++i) {
      const double s = picture_.from_s + (picture_.to_s - picture_.from_s) * i / marks;
      say(to_, i == marks ? x(s) : x(s), top + 8.0, clock(s), 11.0, soft, false, i > 0);
    }
  }

 private:
  double x(double seconds) const { return left + (picture_width - left - right) * (seconds - picture_.from_s) / (picture_.to_s - picture_.from_s); }

  void panel(const Trace& trace, double top) {
    const double bottom = top + trace_height - gap;
    const auto [low, high] = span_of(trace);
    const auto y = [&, low = low, high = high](double value) { return bottom - (bottom - top - 16.0) * (value - low) / (high - low); };
    use(to_, line);
    cairo_set_line_width(to_, 1.0);
    cairo_rectangle(to_, left, top, picture_width - left - right, bottom - top);
    cairo_stroke(to_);
    gaps(trace, top, bottom);
    limit(trace.warn_low, low, high, y, warn, "warning");
    limit(trace.warn_high, low, high, y, warn, "warning");
    limit(trace.trip_low, low, high, y, trip, "trip");
    limit(trace.trip_high, low, high, y, trip, "trip");
    if (picture_.cut_s && *picture_.cut_s >= picture_.from_s && *picture_.cut_s <= picture_.to_s) {
      use(to_, trip);
      cairo_set_line_width(to_, 2.0);
      cairo_move_to(to_, x(*picture_.cut_s), top);
      cairo_line_to(to_, x(*picture_.cut_s), bottom);
      cairo_stroke(to_);
      if (top == head) say(to_, x(*picture_.cut_s) - 4.0, top + 12.0, "cut", 11.0, trip, true, true);
    }
    trace_line(trace, y);
    std::optional<double> last;
    for (const auto& value : trace.values)
      if (value) last = value;
    const std::string now = last ? fmt::format("{} {}", to_figure(*last, digits), trace.uom) : "no reading";
    say(to_, left + 6.0, top + 14.0, trace.name, 12.0, ink, true);
    say(to_, picture_width - right - 6.0, bottom - 6.0, now, 12.0, ink, true, true);
    say(to_, left - 6.0, top + 14.0, to_figure(high, digits), 10.0, soft, false, true);
    say(to_, left - 6.0, bottom, to_figure(low, digits), 10.0, soft, false, true);
  }

  template <class Y>
  void limit(std::optional<double> value, double low, double high, Y y, Colour colour, const char* word) {
    if (!value || *value < low || *value > high) return;
    use(to_, colour);
    const double dashes[] = {6.0, 4.0};
    cairo_set_dash(to_, dashes, 2, 0.0);
    cairo_set_line_width(to_, 1.2);
    cairo_move_to(to_, left, y(*value));
    cairo_line_to(to_, picture_width - right, y(*value));
    cairo_stroke(to_);
    cairo_set_dash(to_, nullptr, 0, 0.0);
    say(to_, left + 150.0, y(*value) - 3.0, fmt::format("{} {}", word, to_figure(*value, digits)), 10.0, colour);
  }

  double at(std::size_t bucket, std::size_t count) const { return picture_.from_s + (picture_.to_s - picture_.from_s) * (static_cast<double>(bucket) + 0.5) / static_cast<double>(count); }

  /// Hatched: a gap is a gap, and not a line.
  void gaps(const Trace& trace, double top, double bottom) {
    const std::size_t count = trace.values.size();
    for (std::size_t i = 0; i < count; ++i) {
      if (trace.values[i]) continue;
      use(to_, line);
      cairo_set_line_width(to_, 1.0);
      cairo_move_to(to_, x(at(i, count)) - 2.0, bottom);
      cairo_line_to(to_, x(at(i, count)) + 2.0, top);
      cairo_stroke(to_);
    }
  }

  template <class Y>
  void trace_line(const Trace& trace, Y y) {
    use(to_, curve);
    cairo_set_line_width(to_, 2.0);
    bool is_begun = false;
    for (std::size_t i = 0; i < trace.values.size(); ++i) {
      if (!trace.values[i]) {
        is_begun = false;
        continue;
      }
      if (is_begun) cairo_line_to(to_, x(at(i, trace.values.size())), y(*trace.values[i]));
      else cairo_move_to(to_, x(at(i, trace.values.size())), y(*trace.values[i]));
      is_begun = true;
    }
    cairo_stroke(to_);
  }

  cairo_t* to_;
  const Picture& picture_;
};

}  // namespace

Result<std::string> draw_picture(const Picture& picture) {
  if (picture.traces.empty() || !(picture.to_s > picture.from_s)) return fail(Fault::bad_data, "there is nothing to draw");
  const int height = static_cast<int>(head + foot) + trace_height * static_cast<int>(std::min(picture.traces.size(), traces_max));
  const std::unique_ptr<cairo_surface_t, FreeSurface> surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, picture_width, height));
  const std::unique_ptr<cairo_t, FreeContext> context(cairo_create(surface.get()));
  Drawing(context.get(), picture).draw();
  std::string png;
  const auto take = [](void* to, const unsigned char* bytes, unsigned size) {
    static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), size);
    return CAIRO_STATUS_SUCCESS;
  };
  if (cairo_surface_write_to_png_stream(surface.get(), take, &png) != CAIRO_STATUS_SUCCESS) return fail(Fault::io, "the picture could not be made");
  return png;
}

}  // namespace steadyglow::notify
