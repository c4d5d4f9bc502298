#pragma once
/// What stands on the sides, in words.
#include <string>
#include <vector>

#include "record/page_input.hpp"
#include "record/page_model.hpp"

namespace steadyglow::record {

std::vector<Block> buyers_side(const PageInput& input);
std::vector<Block> technicians_sides(const PageInput& input);

/// "24.0 h counted of 25.6 h with power, 1 interruption (mains, 46 min)".
std::string counted_line(const RunFigures& figures);
/// What became of it: passed, failed, by whom it was signed, or that it is a proposal.
std::string verdict_line(const RunFigures& figures);
/// "380 mV"; a dash where there is none.
std::string level_words(const profile::Point& point, const std::optional<Level>& level);

}  // namespace steadyglow::record
