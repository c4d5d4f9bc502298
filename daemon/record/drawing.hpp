#pragma once
/// A drawing as a list of shapes, so that the same one goes onto paper, into a picture and into a page of a browser.
#include <cstdint>
#include <string>
#include <variant>
#include <vector>

namespace steadyglow::record {

/// Which pen. Meaning never rests on a colour alone: dashes, hatching and words carry it on a black and white print.
enum class Ink : std::uint8_t { text, soft, line, band, ground, first, second, third, fourth, warn, trip };
inline constexpr std::uint8_t ink_count = 11;

struct Spot {
  double x = 0.0;
  double y = 0.0;
};

/// Lengths in pt of the drawing's own size; y grows downwards.
struct Stroke {
  std::vector<Spot> spots;
  Ink ink = Ink::text;
  double width = 1.0;
  std::vector<double> dash;  ///< empty: solid
};
struct Area {
  std::vector<Spot> spots;
  Ink ink = Ink::band;
  double share = 1.0;  ///< 0 to 1: how much it covers what is behind
};
/// Slanted lines: nothing was seen. Crossed lines: it was off.
struct Hatch {
  double x = 0.0, y = 0.0, width = 0.0, height = 0.0;
  bool is_crossed = false;
};
struct Words {
  enum class Anchor : std::uint8_t { begin, middle, end };
  double x = 0.0;
  double y = 0.0;  ///< middle of the line of text
  std::string text;
  double size = 7.5;
  Anchor anchor = Anchor::begin;
  Ink ink = Ink::text;
  bool is_bold = false;
  bool has_ground = false;  ///< on a patch, so that a line behind does not cross it
};
using Shape = std::variant<Stroke, Area, Hatch, Words>;

struct Drawing {
  double width = 0.0;
  double height = 0.0;
  std::vector<Shape> shapes;
};

inline constexpr double hatch_pitch = 4.0;  ///< pt between two lines of a hatch

}  // namespace steadyglow::record
