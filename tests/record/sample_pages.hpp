#pragma once
/// Runs of invented units, as their pages are looked at: few points and many, calm and troubled, passed and failed.
#include <memory>
#include <string>
#include <vector>

#include "record/page_input.hpp"
#include "record/stored_run.hpp"

namespace steadyglow::record_test {

struct Sample {
  std::string name;
  std::shared_ptr<StoredRun> run;
  std::shared_ptr<record::RunFigures> figures;
  record::PageInput input;
};

/// Four points, a photo, a card, a signature: the usual.
Sample four_points();
/// Forty points with long names, no photo, no card, nobody has signed.
Sample forty_points();
/// Six gaps, two trims, and a power cut.
Sample gaps_and_trims();
/// One tube runs away and the unit is cut.
Sample failed();
/// Both halves of a pair, each with the other's name on it.
std::vector<Sample> mono_pair();
/// Stopped by a person after twenty minutes.
Sample twenty_minutes();
/// Everything above.
std::vector<Sample> all_samples();

/// A picture of our own, as PNG: an amplifier's front, drawn.
record::Photo drawn_photo();

}  // namespace steadyglow::record_test
