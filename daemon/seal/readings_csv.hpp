#pragma once
/// readings.csv of a record: what a spreadsheet opens. It follows from run.sqlite to the byte.
#include <string>
#include <vector>

#include "seal/run_file.hpp"
#include "store/rows.hpp"

namespace steadyglow::seal {

/// RFC 4180, lines end in CRLF. `time_s [s]`, a column per point with its unit of measure (UCUM), then `not_good`: which of
/// this row's points have no value, and why. Only a good reading has a figure in its cell. No cell can be taken for a
/// formula: each begins with a letter, a digit, or a minus before a digit.
std::string csv_header(const RunFace& face);
/// Adds the row of one batch to `out`; two, if a point stands in it twice.
void add_csv_row(const RunFace& face, const store::InputRow& batch, std::string& out);

}  // namespace steadyglow::seal
