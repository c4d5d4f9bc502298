#pragma once
/// The charts of a run, from its figures.
#include <vector>

#include "record/chart.hpp"
#include "record/run_figures.hpp"

namespace steadyglow::record {

/// Idle currents, or what stands for them in this kind of unit; empty when nothing was measured that could.
std::vector<PointId> points_that_matter(const RunFigures& figures);
/// One chart of these points over the run: they share a uom.
Chart chart_of(const RunFigures& figures, std::span<const PointId> points, std::string title);
/// Temperatures over the room, or as they were where no room was measured. Without traces when there are none.
Chart heat_chart(const RunFigures& figures);
/// What the unit drew, and one chart for its currents or supplies.
std::vector<Chart> start_charts(const RunFigures& figures, const StartTrace& start);

}  // namespace steadyglow::record
