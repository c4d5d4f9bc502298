#pragma once
/// Figures over time, with their limits, and what was not seen.
#include <optional>
#include <string>
#include <vector>

#include "profile/profile.hpp"
#include "record/drawing.hpp"

namespace steadyglow::record {

/// One step of a trace; a step that nothing was seen in is a gap and is never bridged.
struct Step {
  double x = 0.0;
  double min = 0.0;
  double mean = 0.0;
  double max = 0.0;
  bool is_seen = false;
};

struct Trace {
  std::string name;  ///< short: it stands beside its line
  std::vector<Step> steps;
};

struct Stretch {
  double from = 0.0;
  double to = 0.0;
};

struct Mark {
  double x = 0.0;
  std::string text;  ///< "trim"
};

struct Chart {
  std::string title;           ///< stands above the drawing, not in it: it may need more than a line
  std::string uom;             ///< as shown
  std::string alt;             ///< what it shows, for somebody who does not see it
  double from = 0.0;           ///< of x
  double to = 1.0;
  bool is_seconds = false;     ///< x is seconds after a switch-on; else hours of the run
  std::vector<Trace> traces;   ///< at most traces_max
  profile::Band warn;          ///< shaded inside; only where all traces share it
  profile::Band trip;
  std::vector<Stretch> off;    ///< without power: crossed hatching
  std::vector<Stretch> starting;  ///< the minutes after a switch-on: drawn, but the scale is not made for them
  std::vector<Stretch> counted;
  bool shows_counted = false;  ///< a bar under the plot where hours counted
  std::vector<Mark> marks;
};

inline constexpr std::size_t traces_max = 4;
/// "Idle current (mV)".
std::string title_of(const Chart& chart);
/// Steps that a trace is drawn with at most: finer than a printer shows.
inline constexpr std::size_t steps_max = 480;

/// In pt. Never fails: a chart without a step says so.
Drawing draw_chart(const Chart& chart, double width, double height);

}  // namespace steadyglow::record
