#include "record/paint.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace steadyglow::record {
namespace {

struct Colour {
  double r, g, b;
};
/// On white; each pen at least 4.5 : 1, and its neighbours differ in dash as well.
constexpr std::array<Colour, ink_count> colours{{{0.08, 0.09, 0.11},   // text
                                                 {0.33, 0.35, 0.38},   // soft
                                                 {0.72, 0.74, 0.77},   // line
                                                 {0.91, 0.93, 0.95},   // band
                                                 {1.0, 1.0, 1.0},      // ground
                                                 {0.04, 0.20, 0.42},   // first
                                                 {0.55, 0.22, 0.02},   // second
                                                 {0.05, 0.36, 0.22},   // third
                                                 {0.42, 0.10, 0.42},   // fourth
                                                 {0.46, 0.33, 0.0},    // warn
                                                 {0.62, 0.08, 0.08}}}; // trip

class Painter {
 public:
  Painter(cairo_t* to, double x, double y) : to_(to), x_(x), y_(y) {}

  void operator()(const Stroke& stroke) const {
    if (stroke.spots.size() < 2) return;
    use(to_, stroke.ink);
    cairo_set_line_width(to_, stroke.width);
    cairo_set_line_join(to_, CAIRO_LINE_JOIN_ROUND);
    cairo_set_dash(to_, stroke.dash.data(), static_cast<int>(stroke.dash.size()), 0.0);
    path(stroke.spots);
    cairo_stroke(to_);
    cairo_set_dash(to_, nullptr, 0, 0.0);
  }

  void operator()(const Area& area) const {
    if (area.spots.size() < 3) return;
    use(to_, area.ink, area.share);
    path(area.spots);
    cairo_close_path(to_);
    cairo_fill(to_);
  }

  void operator()(const Hatch& hatch) const {
    cairo_save(to_);
    cairo_rectangle(to_, x_ + hatch.x, y_ + hatch.y, hatch.width, hatch.height);
    cairo_clip_preserve(to_);
    use(to_, Ink::ground);
    cairo_fill(to_);
    use(to_, Ink::soft);
    cairo_set_line_width(to_, 0.5);
    // From one origin for all, so that stretches side by side hatch as one.
    const double first = std::floor((hatch.x - hatch.height) / hatch_pitch) * hatch_pitch;
    for (double at = first; at < hatch.x + hatch.width; at += hatch_pitch) {
      cairo_move_to(to_, x_ + at, y_ + hatch.y + hatch.height);
      cairo_line_to(to_, x_ + at + hatch.height, y_ + hatch.y);
      if (!hatch.is_crossed) continue;
      cairo_move_to(to_, x_ + at, y_ + hatch.y);
      cairo_line_to(to_, x_ + at + hatch.height, y_ + hatch.y + hatch.height);
    }
    cairo_stroke(to_);
    cairo_restore(to_);
  }

  void operator()(const Words& words) const {
    const SetText text(to_, words.text, 0.0, {.size = words.size, .is_bold = words.is_bold, .ink = words.ink});
    double x = x_ + words.x;
    if (words.anchor == Words::Anchor::middle) x -= text.width() / 2.0;
    if (words.anchor == Words::Anchor::end) x -= text.width();
    const double y = y_ + words.y - text.height() / 2.0;
    if (words.has_ground) {
      use(to_, Ink::ground, 0.85);
      cairo_rectangle(to_, x - 1.5, y, text.width() + 3.0, text.height());
      cairo_fill(to_);
    }
    text.show(to_, x, y, 0, text.lines());
  }

 private:
  void path(const std::vector<Spot>& spots) const {
    cairo_new_path(to_);
    for (const Spot& spot : spots) cairo_line_to(to_, x_ + spot.x, y_ + spot.y);
  }

  cairo_t* to_;
  double x_, y_;
};

}  // namespace

void use(cairo_t* to, Ink ink, double share) {
  const Colour& colour = colours[static_cast<std::size_t>(ink)];
  // On paper a share is a lighter pen: transparency would make a printer's pages large and slow.
  const auto mixed = [&](double part) { return 1.0 - share * (1.0 - part); };
  if (ink == Ink::ground) cairo_set_source_rgb(to, 1.0, 1.0, 1.0);
  else cairo_set_source_rgb(to, mixed(colour.r), mixed(colour.g), mixed(colour.b));
}

std::string colour_text(Ink ink) {
  const Colour& colour = colours[static_cast<std::size_t>(ink)];
  const auto byte = [](double part) { return static_cast<int>(std::lround(part * 255.0)); };
  return fmt::format("#{:02x}{:02x}{:02x}", byte(colour.r), byte(colour.g), byte(colour.b));
}

SetText::SetText(cairo_t* to, const std::string& text, double width, const TextStyle& style) : layout_(pango_cairo_create_layout(to)), ink_(style.ink) {
  const Font font(pango_font_description_from_string("DejaVu Sans, sans-serif"));
  pango_font_description_set_absolute_size(font.get(), style.size * PANGO_SCALE);
  pango_font_description_set_weight(font.get(), style.is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  pango_layout_set_font_description(layout_.get(), font.get());
  // Paper has no pixels: what is measured is what is printed, on every surface.
  const std::unique_ptr<cairo_font_options_t, Freed<cairo_font_options_destroy>> options(cairo_font_options_create());
  cairo_font_options_set_hint_style(options.get(), CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options.get(), CAIRO_HINT_METRICS_OFF);
  pango_cairo_context_set_font_options(pango_layout_get_context(layout_.get()), options.get());
  pango_context_set_round_glyph_positions(pango_layout_get_context(layout_.get()), FALSE);
  pango_layout_context_changed(layout_.get());
  if (width > 0.0) {
    pango_layout_set_width(layout_.get(), static_cast<int>(width * PANGO_SCALE));
    pango_layout_set_wrap(layout_.get(), PANGO_WRAP_WORD_CHAR);
    // A name that is broken gets no hyphen: it would seem to belong to it.
    const std::unique_ptr<PangoAttrList, Freed<pango_attr_list_unref>> attributes(pango_attr_list_new());
    pango_attr_list_insert(attributes.get(), pango_attr_insert_hyphens_new(FALSE));
    pango_layout_set_attributes(layout_.get(), attributes.get());
  } else {
    pango_layout_set_single_paragraph_mode(layout_.get(), TRUE);
  }
  if (style.is_right) pango_layout_set_alignment(layout_.get(), PANGO_ALIGN_RIGHT);
  std::string clean = text;
  // A control character has no shape; a line break is the only one that means anything here.
  for (char& c : clean)
    if (static_cast<unsigned char>(c) < 0x20 && c != '\n') c = ' ';
  const std::unique_ptr<char, Freed<g_free>> valid(g_utf8_make_valid(clean.data(), static_cast<gssize>(clean.size())));
  pango_layout_set_text(layout_.get(), valid.get(), -1);
  PangoLayoutIter* walk = pango_layout_get_iter(layout_.get());
  do {
    PangoRectangle box;
    pango_layout_iter_get_line_extents(walk, nullptr, &box);
    int top = 0, bottom = 0;
    pango_layout_iter_get_line_yrange(walk, &top, &bottom);
    const auto pt = [](int units) { return static_cast<double>(units) / PANGO_SCALE; };
    lines_.push_back({pt(top), pt(bottom - top), pt(pango_layout_iter_get_baseline(walk)), pt(box.x)});
    ink_width_ = std::max(ink_width_, pt(box.width));
  } while (pango_layout_iter_next_line(walk) != FALSE);
  pango_layout_iter_free(walk);
}

double SetText::height(std::size_t from, std::size_t to) const { return from < to ? lines_[to - 1].top + lines_[to - 1].height - lines_[from].top : 0.0; }

std::size_t SetText::fitting(std::size_t from, double height) const {
  std::size_t end = from;
  while (end < lines_.size() && this->height(from, end + 1) <= height) ++end;
  return end - from;
}

void SetText::show(cairo_t* to, double x, double y, std::size_t from, std::size_t end) const {
  use(to, ink_);
  for (std::size_t i = from; i < std::min(end, lines_.size()); ++i) {
    cairo_move_to(to, x + lines_[i].x, y + lines_[i].baseline - lines_[from].top);
    pango_cairo_show_layout_line(to, pango_layout_get_line_readonly(layout_.get(), static_cast<int>(i)));
  }
}

void paint(cairo_t* to, const Drawing& drawing, double x, double y) {
  for (const Shape& shape : drawing.shapes) std::visit(Painter(to, x, y), shape);
}

}  // namespace steadyglow::record
