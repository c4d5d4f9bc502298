#pragma once
/// Blocks onto sheets, from top to bottom and on to the next: what does not fit wraps or goes over, and is never cut off.
#include <functional>
#include <vector>

#include "record/page_model.hpp"
#include "record/paint.hpp"

namespace steadyglow::record {

struct Sheet {
  double width = 595.276;   ///< pt
  double height = 841.890;  ///< pt; 0: as long as needed, one sheet
  double margin = 36.0;
};
inline constexpr Sheet a4_sheet{};
inline constexpr Sheet letter_sheet{612.0, 792.0, 36.0};

/// How much room things take: tried from roomy to dense until the buyer's part is on one side.
struct Density {
  double text = 1.0;      ///< times the usual size of text
  double drawings = 1.0;  ///< 0: as low as they may be; 1: as high as one would like
};

/// What a flow calls while it goes; any may be empty.
struct FlowHooks {
  std::function<void(std::size_t side)> begin_side;           ///< from 0
  std::function<void(std::size_t side)> end_side;
  std::function<void(const char* tag)> begin_tag;             ///< tags of PDF: "H1", "P", "Table"
  std::function<void(const char* tag)> end_tag;
  std::function<void(const std::string& heading, int level, std::size_t side, double y)> outline;
};

struct Flowed {
  std::size_t sides = 0;
  double used = 0.0;  ///< of the last side, from its top, in pt
};

/// `foot_room` is left free at the bottom of each side. `sides_before`: those that are there already.
Flowed flow(cairo_t* to, const std::vector<Block>& blocks, const Sheet& sheet, const Density& density, const FlowHooks& hooks, std::size_t sides_before = 0);

inline constexpr double foot_room = 22.0;

}  // namespace steadyglow::record
