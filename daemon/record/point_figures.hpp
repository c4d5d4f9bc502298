#pragma once
/// The figures of one point: where it began, where it ended, how fast it moved, and what of it was not seen.
#include <optional>
#include <span>

#include "record/listener.hpp"
#include "record/run_figures.hpp"

namespace steadyglow::record {

/// Fills in the points of `figures` from what was heard. The run's own lists (power, counted minutes, touches) are there already.
void figure_points(const Listener& heard, const soak::Engine& engine, RunFigures& figures);

}  // namespace steadyglow::record
