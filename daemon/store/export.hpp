#pragma once
/// A run's readings as comma-separated values after RFC 4180, as `steadyglow replay` reads them.
#include <cstdint>
#include <ostream>

#include "core/result.hpp"
#include "store/reader.hpp"

namespace steadyglow::store {

struct CsvSummary {
  std::uint64_t batches = 0;
  std::uint64_t damaged_rows = 0;  ///< left out; the reader's damage() says which
};

/// First column `time_s`: seconds of run time with three decimals. Then a column per point, in PointId order. One row per
/// batch; an empty cell: the batch had nothing of that point. A value is the shortest decimal that reads back as the same
/// double; a bad reading is the word of its quality (so is a value that is not finite: `implausible`). Lines end in CRLF.
/// Fails: Fault::bad_data without such a run; io when `out` fails.
Result<CsvSummary> write_csv(StoreReader& reader, std::int64_t run, std::ostream& out);

}  // namespace steadyglow::store
