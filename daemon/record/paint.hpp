#pragma once
/// Text and drawings onto a sheet of Cairo's, in pt.
#include <memory>
#include <string>
#include <vector>

#include <cairo.h>
#include <pango/pangocairo.h>

#include "record/drawing.hpp"

namespace steadyglow::record {

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

struct TextStyle {
  double size = 9.0;
  bool is_bold = false;
  bool is_right = false;
  Ink ink = Ink::text;
};

/// A text set to a width: its lines can be put onto one sheet or onto two.
class SetText {
 public:
  /// `width` in pt; 0: one line, as long as it is. What is no UTF-8 is made visible, not an error.
  SetText(cairo_t* to, const std::string& text, double width, const TextStyle& style);
  std::size_t lines() const { return lines_.size(); }
  double height() const { return height(0, lines()); }
  double height(std::size_t from, std::size_t to) const;
  /// How many lines from `from` on fit into a height.
  std::size_t fitting(std::size_t from, double height) const;
  void show(cairo_t* to, double x, double y, std::size_t from, std::size_t end) const;
  double width() const { return ink_width_; }

 private:
  struct LineBox {
    double top;
    double height;
    double baseline;
    double x;
  };
  Layout layout_;
  std::vector<LineBox> lines_;
  double ink_width_ = 0.0;
  Ink ink_;
};

void use(cairo_t* to, Ink ink, double share = 1.0);
/// "#rrggbb" of an ink on paper.
std::string colour_text(Ink ink);
void paint(cairo_t* to, const Drawing& drawing, double x, double y);

}  // namespace steadyglow::record
