#pragma once
/// run.sqlite of a record: all that a fresh engine must be fed to tell the run again. The layout is in FORMAT.md.
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "core/reading.hpp"
#include "core/result.hpp"
#include "seal/scratch_file.hpp"
#include "seal/series.hpp"
#include "store/rows.hpp"
#include "store/sqlite.hpp"

namespace steadyglow::seal {

struct PointFace {
  std::string name;
  std::string quantity;
  std::string uom;  ///< UCUM
};

/// What is in run.sqlite beside the inputs.
struct RunFace {
  store::RunRow run;  ///< boot_id, started_boottime_ms and state are not kept
  std::vector<PointFace> points;
  std::string wiring;  ///< one JSON object, or empty: which meter showed which point
};

inline constexpr std::int64_t run_file_id = 0x53474C52;  ///< "SGLR", PRAGMA application_id
inline constexpr std::size_t chunk_readings = series_numbers_max;
/// What one text of the file may have.
inline constexpr std::size_t text_bytes_max = 16 * 1024 * 1024;

/// Writes a run.sqlite; inputs come in the order of feeding. Memory: one chunk for each point.
class RunFileWriter {
 public:
  static Result<RunFileWriter> begin(const RunFace& face);
  Result<void> add(const store::InputRow& input);
  /// The file's bytes. The same inputs give the same bytes, with the same libraries.
  Result<std::string> finish();

 private:
  struct Series {
    std::int64_t first = 0;
    std::vector<double> values;
    std::vector<std::int64_t> qualities;
    std::vector<std::int64_t> late_ms;
  };
  struct Batches {
    std::int64_t first = 0;
    std::vector<std::int64_t> nth, at_ms, point_list;
  };
  RunFileWriter(ScratchFile file, store::Connection connection, std::size_t points) : file_(std::move(file)), connection_(std::move(connection)), series_(points) {}
  Result<void> close_series(std::size_t point);
  Result<void> close_batches();

  ScratchFile file_;
  store::Connection connection_;
  std::vector<Series> series_;
  Batches batches_;
  std::map<std::vector<std::uint16_t>, std::int64_t> point_lists_;
  std::int64_t nth_ = 0;
};

/// Reads a run.sqlite of a stranger: everything is checked, nothing is believed.
/// Fails: Fault::bad_data for what cannot be.
class RunFileReader {
 public:
  static Result<RunFileReader> open(std::string_view bytes);
  const RunFace& face() const { return face_; }
  /// In the order of feeding; `seq` is the position, from 1.
  Result<void> for_each_input(const std::function<void(const store::InputRow&)>& visit);
  /// All inputs, batches among them. Known once for_each_input has been through.
  std::int64_t inputs() const { return inputs_; }

 private:
  struct Cursor;
  RunFileReader(ScratchFile file, store::Connection connection) : file_(std::move(file)), connection_(std::move(connection)) {}
  Result<void> read_face();
  Result<void> read_point_lists();
  Result<void> load(Cursor& cursor, std::size_t point);

  ScratchFile file_;
  store::Connection connection_;
  RunFace face_;
  std::vector<std::vector<std::uint16_t>> point_lists_;
  std::int64_t inputs_ = 0;
};

}  // namespace steadyglow::seal
