#pragma once
/// A run in open formats: its readings as comma-separated values after RFC 4180, as `steadyglow replay` reads them, or all of it as JSON Lines.
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

/// All that was stored of a run as JSON Lines (one object a line, UTF-8, RFC 8259), in the order in which it was written:
///   {"what":"run", ...}       first: the unit, profile and plan as texts, labels, names of the points
///   {"what":"readings","seq":N,"time_s":S,"values":{POINT:VALUE, ...}}    a batch; a bad reading is {"quality":WORD,"as_met":VALUE}
///   {"what":"input","seq":N,"time_s":S,"kind":K,"json":{...}}             what else the engine was fed
///   {"what":"event","seq":N,"time_s":S,"kind":K,"json":{...}}             what the engine said
/// A number is the shortest decimal that reads back as the same double; one that is not finite is null. Where a batch holds a
/// point twice, a second line of the same `seq` has the second reading. Fails as write_csv does.
Result<CsvSummary> write_json_lines(StoreReader& reader, std::int64_t run, std::ostream& out);

}  // namespace steadyglow::store
