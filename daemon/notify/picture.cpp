#include "notify/picture.hpp"

#include <cairo.h>
#include <fmt/format.h>
#include <pango/pangocairo.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <tuple>
#include <utility>

#include "core/decimal.hpp"

namespace steadyglow::notify {
namespace {

constexpr double left = 52.0, right = 12.0, head = 34.0, foot = 24.0, between = 8.0;
constexpr double name_strip = 19.0;    ///< above the curve, so that no name hides it
constexpr double guilty_share = 1.7;  ///< the height of the first panel, in those of the others
constexpr int digits = 3;

struct Colour {
  double r, g, b;
};
constexpr Colour ground{1.0, 0.992, 0.976}, panel_ground{1.0, 1.0, 1.0}, ink{0.114, 0.098, 0.078}, soft{0.35, 0.31, 0.25}, line{0.80, 0.75, 0.67}, gap{0.62, 0.57, 0.49}, warn{0.48, 0.33, 0.0}, trip{0.66, 0.14, 0.10}, curve{0.10, 0.31, 0.47};

template <auto Free>
struct Freed {
  template <class T>
  void operator()(T* thing) const {
    Free(thing);
  }
};
using Surface = std::unique_ptr<cairo_surface_t, Freed<cairo_surface_destroy>>;
using Context = std::unique_ptr<cairo_t, Freed<cairo_destroy>>;
using Layout = std::unique_ptr<PangoLayout, Freed<g_object_unref>>;
using Font = std::unique_ptr<PangoFontDescription, Freed<pango_font_description_free>>;

void use(cairo_t* to, Colour colour) { cairo_set_source_rgb(to, colour.r, colour.g, colour.b); }

enum class Align { begin, middle, end };
struct Style {
  double size = 11.0;
  Colour colour = ink;
  bool is_bold = false;
  Align align = Align::begin;
  double width_max = 0.0;  ///< longer text ends in an ellipsis; 0: no bound
  bool has_ground = false; ///< on a patch, so that a line behind does not cross it
};

/// `y` is the middle of the line of text. Pango finds a font for every script that the machine has one for.
void say(cairo_t* to, double x, double y, const std::string& text, const Style& style) {
  const Layout layout(pango_cairo_create_layout(to));
  const Font font(pango_font_description_from_string("DejaVu Sans, sans-serif"));
  pango_font_description_set_absolute_size(font.get(), style.size * PANGO_SCALE);
  pango_font_description_set_weight(font.get(), style.is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  pango_layout_set_font_description(layout.get(), font.get());
  pango_layout_set_single_paragraph_mode(layout.get(), TRUE);
  const std::unique_ptr<char, Freed<g_free>> valid(g_utf8_make_valid(text.data(), static_cast<gssize>(text.size())));
  pango_layout_set_text(layout.get(), valid.get(), -1);
  if (style.width_max > 0.0) {
    pango_layout_set_width(layout.get(), static_cast<int>(style.width_max * PANGO_SCALE));
    pango_layout_set_ellipsize(layout.get(), PANGO_ELLIPSIZE_END);
  }
  PangoRectangle box;
  pango_layout_get_pixel_extents(layout.get(), nullptr, &box);
  const double begin = style.align == Align::begin ? x : style.align == Align::end ? x - box.width : x - box.width / 2.0;
  const double top = y - box.height / 2.0;
  if (style.has_ground) {
    cairo_set_source_rgba(to, panel_ground.r, panel_ground.g, panel_ground.b, 0.88);
    cairo_rectangle(to, begin - 2.0, top, box.width + 4.0, box.height);
    cairo_fill(to);
  }
  use(to, style.colour);
  cairo_move_to(to, begin - box.x, top);
  pango_cairo_show_layout(to, layout.get());
}

std::string clock(double seconds) {
  const auto minutes = static_cast<long>(std::floor(seconds / 60.0 + 1e-9));
  return fmt::format("{}:{:02}", minutes / 60, minutes % 60);
}

/// The span of what is shown: the values, and a limit where they come near it.
std::pair<double, double> span_of(const Trace& trace) {
  double low = std::numeric_limits<double>::infinity(), high = -low;
  for (const auto& value : trace.values)
    if (value && std::isfinite(*value)) low = std::min(low, *value), high = std::max(high, *value);
  if (low > high) return {0.0, 1.0};
  const double reach = std::max({high - low, 0.05 * std::max(std::fabs(low), std::fabs(high)), std::numeric_limits<double>::min()});
  // What stands still is drawn as standing still: its noise does not fill the panel.
  const double middle = (low + high) / 2.0;
  low = std::min(low, middle - reach / 2.0), high = std::max(high, middle + reach / 2.0);
  const double near_low = low - 1.5 * reach, near_high = high + 1.5 * reach;
  for (const auto& limit : {trace.warn_low, trace.warn_high, trace.trip_low, trace.trip_high})
    if (limit && *limit > near_low && *limit < near_high) low = std::min(low, *limit), high = std::max(high, *limit);
  const double room = 0.10 * std::max(high - low, reach);
  return {low - room, high + room};
}

/// The step of the axis: a round one of the clock, with at most six marks.
double step_of(double span_s) {
  for (const double minutes : {1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 360.0})
    if (span_s / (minutes * 60.0) <= 6.0) return minutes * 60.0;
  return std::max(span_s / 6.0, 1.0);
}

class Drawing {
 public:
  Drawing(cairo_t* to, const Picture& picture) : to_(to), picture_(picture) {}

  void draw() {
    use(to_, ground);
    cairo_paint(to_);
    say(to_, 12.0, head / 2.0, picture_.title, {.size = 15.0, .is_bold = true, .width_max = picture_width - 24.0});
    const std::size_t count = std::min(picture_.traces.size(), traces_max);
    const double shares = guilty_share + static_cast<double>(count - 1);
    const double unit = (picture_height - head - foot - between * static_cast<double>(count - 1)) / shares;
    double top = head;
    for (std::size_t i = 0; i < count; ++i) {
      const double height = unit * (i == 0 ? guilty_share : 1.0);
      panel(picture_.traces[i], top, top + height, i == 0);
      top += height + between;
    }
    axis();
  }

 private:
  double x(double seconds) const { return left + (picture_width - left - right) * (seconds - picture_.from_s) / (picture_.to_s - picture_.from_s); }
  /// Where a stretch of the trace begins.
  double edge(std::size_t bucket, std::size_t count) const { return x(picture_.from_s + (picture_.to_s - picture_.from_s) * static_cast<double>(bucket) / static_cast<double>(count)); }
  bool is_cut_shown() const { return picture_.cut_s && *picture_.cut_s >= picture_.from_s && *picture_.cut_s <= picture_.to_s; }

  void axis() {
    const double y = picture_height - foot / 2.0;
    const double step = step_of(picture_.to_s - picture_.from_s);
    say(to_, 8.0, y, "run", {.colour = soft});
    for (double s = std::ceil(picture_.from_s / step) * step; s <= picture_.to_s; s += step) {
      const double at = x(s);
      if (at < left + 12.0 || at > picture_width - right - 4.0) continue;
      say(to_, std::min(at, picture_width - right - 20.0), y, clock(s) + " h", {.colour = soft, .align = Align::middle});
    }
  }

  void panel(const Trace& trace, double top, double bottom, bool is_first) {
    const double begin = left, end = picture_width - right;
    const auto [low, high] = span_of(trace);
    const auto y = [&, low = low, high = high](double value) { return bottom - (bottom - top - name_strip) * (value - low) / (high - low); };
    use(to_, panel_ground);
    cairo_rectangle(to_, begin, top, end - begin, bottom - top);
    cairo_fill(to_);
    cairo_save(to_);
    cairo_rectangle(to_, begin, top, end - begin, bottom - top);
    cairo_clip(to_);
    marks(top, bottom);
    gaps(trace, top, bottom);
    for (const auto& [value, colour] : {std::pair(trace.warn_low, warn), {trace.warn_high, warn}, {trace.trip_low, trip}, {trace.trip_high, trip}})
      if (value && *value > low && *value < high) limit(y(*value), colour);
    cut(top, bottom);
    trace_line(trace, y);
    cairo_restore(to_);
    use(to_, line);
    cairo_set_line_width(to_, 1.0);
    cairo_rectangle(to_, begin, top, end - begin, bottom - top);
    cairo_stroke(to_);
    names(trace, top, bottom, y, is_first);
    if (is_first) limit_names(trace, bottom, low, high, y);
  }

  /// Upright lines where the clock is round.
  void marks(double top, double bottom) {
    const double step = step_of(picture_.to_s - picture_.from_s);
    cairo_set_source_rgba(to_, line.r, line.g, line.b, 0.45);
    cairo_set_line_width(to_, 0.7);
    for (double s = std::ceil(picture_.from_s / step) * step; s <= picture_.to_s; s += step) {
      cairo_move_to(to_, x(s), top);
      cairo_line_to(to_, x(s), bottom);
    }
    cairo_stroke(to_);
  }

  void limit(double y, Colour colour) {
    const double dashes[] = {6.0, 4.0};
    use(to_, colour);
    cairo_set_dash(to_, dashes, 2, 0.0);
    cairo_set_line_width(to_, 1.2);
    cairo_move_to(to_, left, y);
    cairo_line_to(to_, picture_width - right, y);
    cairo_stroke(to_);
    cairo_set_dash(to_, nullptr, 0, 0.0);
  }

  void cut(double top, double bottom) {
    if (!is_cut_shown()) return;
    use(to_, trip);
    cairo_set_line_width(to_, 1.6);
    cairo_move_to(to_, x(*picture_.cut_s), top);
    cairo_line_to(to_, x(*picture_.cut_s), bottom);
    cairo_stroke(to_);
  }

  /// Hatched: a gap is a gap, and not a line.
  void gaps(const Trace& trace, double top, double bottom) {
    const std::size_t count = trace.values.size();
    for (std::size_t i = 0; i < count;) {
      std::size_t end = i;
      while (end < count && !trace.values[end]) ++end;
      if (end > i) hatch(edge(i, count), edge(end, count), top, bottom);
      i = std::max(end, i + 1);
    }
    if (count == 0) hatch(left, picture_width - right, top, bottom);
  }

  void hatch(double begin, double end, double top, double bottom) {
    constexpr double pitch = 6.0;
    cairo_save(to_);
    cairo_rectangle(to_, begin, top, end - begin, bottom - top);
    cairo_clip(to_);
    cairo_set_source_rgba(to_, gap.r, gap.g, gap.b, 0.75);
    cairo_set_line_width(to_, 1.0);
    // From one origin for all, so that stretches side by side hatch as one.
    const double height = bottom - top;
    for (double at = left - height; at < end; at += pitch) {
      if (at + height < begin) continue;
      cairo_move_to(to_, at, bottom);
      cairo_line_to(to_, at + height, top);
    }
    cairo_stroke(to_);
    cairo_restore(to_);
  }

  template <class Y>
  void trace_line(const Trace& trace, Y y) {
    use(to_, curve);
    cairo_set_line_width(to_, 2.0);
    cairo_set_line_join(to_, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_cap(to_, CAIRO_LINE_CAP_ROUND);  // one stretch between two gaps is a dot
    const std::size_t count = trace.values.size();
    bool is_begun = false;
    for (std::size_t i = 0; i < count; ++i) {
      if (!trace.values[i] || !std::isfinite(*trace.values[i])) {
        is_begun = false;
        continue;
      }
      const double at = (edge(i, count) + edge(i + 1, count)) / 2.0;
      if (!is_begun) cairo_move_to(to_, at, y(*trace.values[i]));
      cairo_line_to(to_, at, y(*trace.values[i]));
      is_begun = true;
    }
    cairo_stroke(to_);
  }

  template <class Y>
  void names(const Trace& trace, double top, double bottom, Y y, bool is_first) {
    std::optional<double> last, lowest, highest;
    for (const auto& value : trace.values) {
      if (!value || !std::isfinite(*value)) continue;
      last = value;
      lowest = std::min(*value, lowest.value_or(*value));
      highest = std::max(*value, highest.value_or(*value));
    }
    const std::string now = last ? fmt::format("last {} {}", to_figure(*last, digits), trace.uom) : "no reading";
    say(to_, left + 6.0, top + name_strip / 2.0, fmt::format("{}: {}", trace.name, now), {.size = 12.0, .is_bold = true, .width_max = (picture_width - left - right) * 0.75, .has_ground = true});
    if (is_first && is_cut_shown()) {
      const bool is_left = x(*picture_.cut_s) > left + 60.0;
      say(to_, x(*picture_.cut_s) + (is_left ? -5.0 : 5.0), bottom - 9.0, "cut " + clock(*picture_.cut_s) + " h", {.size = 11.0, .colour = trip, .is_bold = true, .align = is_left ? Align::end : Align::begin, .has_ground = true});
    }
    if (!last) return;
    // The highest and the lowest value, each beside where it stands; of what stands still, one of them.
    const double high_at = std::clamp(y(*highest), top + 6.0, bottom - 6.0), low_at = std::clamp(y(*lowest), top + 6.0, bottom - 6.0);
    say(to_, left - 5.0, high_at, to_figure(*highest, digits), {.size = 10.0, .colour = soft, .align = Align::end});
    if (low_at - high_at >= 12.0) say(to_, left - 5.0, low_at, to_figure(*lowest, digits), {.size = 10.0, .colour = soft, .align = Align::end});
  }

  /// At the left end of its line: the curve that matters ends at the right.
  template <class Y>
  void limit_names(const Trace& trace, double bottom, double low, double high, Y y) {
    double taken = bottom + 14.0;
    std::vector<std::tuple<double, const char*, Colour>> limits;
    for (const auto& [value, word, colour] : {std::tuple(trace.trip_low, "trip", trip), {trace.warn_low, "warning", warn}, {trace.warn_high, "warning", warn}, {trace.trip_high, "trip", trip}})
      if (value && *value > low && *value < high) limits.emplace_back(*value, word, colour);
    std::sort(limits.begin(), limits.end(), [](const auto& a, const auto& b) { return std::get<0>(a) < std::get<0>(b); });
    for (const auto& [value, word, colour] : limits) {
      // Two that stand close are written side by side.
      const bool is_close = taken - y(value) < 13.0;
      say(to_, left + (is_close ? 96.0 : 6.0), std::min(y(value), bottom - 7.0), fmt::format("{} {}", word, to_figure(value, digits)), {.size = 10.5, .colour = colour, .has_ground = true});
      if (!is_close) taken = y(value);
    }
  }

  cairo_t* to_;
  const Picture& picture_;
};

}  // namespace

Result<std::string> draw_picture(const Picture& picture) {
  if (picture.traces.empty() || !(picture.to_s > picture.from_s) || !std::isfinite(picture.to_s) || !std::isfinite(picture.from_s)) return fail(Fault::bad_data, "there is nothing to draw");
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, picture_width * picture_scale, picture_height * picture_scale));
  const Context context(cairo_create(surface.get()));
  cairo_scale(context.get(), picture_scale, picture_scale);
  Drawing(context.get(), picture).draw();
  std::string png;
  const auto take = [](void* to, const unsigned char* bytes, unsigned size) {
    static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), size);
    return CAIRO_STATUS_SUCCESS;
  };
  if (cairo_status(context.get()) != CAIRO_STATUS_SUCCESS || cairo_surface_write_to_png_stream(surface.get(), take, &png) != CAIRO_STATUS_SUCCESS) return fail(Fault::io, "the picture could not be made");
  return png;
}

}  // namespace steadyglow::notify
