#include <nlohmann/json.hpp>

#include "seal/run_file.hpp"
#include "seal/run_file_schema.hpp"

namespace steadyglow::seal {
namespace {

constexpr std::size_t run_file_bytes_max = std::size_t{1} << 30;

Result<void> insert(store::Connection& connection, const char* sql, const auto& bind) {
  auto statement = connection.prepare(sql);
  if (!statement) return tl::unexpected(statement.error());
  bind(*statement);
  const auto done = statement->step();
  if (!done) return tl::unexpected(done.error());
  return {};
}

std::string as_json(const std::vector<std::uint16_t>& points) { return nlohmann::json(points).dump(); }

}  // namespace

Result<RunFileWriter> RunFileWriter::begin(const RunFace& face) {
  auto file = ScratchFile::make();
  if (!file) return tl::unexpected(file.error());
  auto connection = store::Connection::open(file->path(), store::Access::write);
  if (!connection) return tl::unexpected(connection.error());
  std::string begin = "PRAGMA page_size = 4096; PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA application_id = " + std::to_string(run_file_id) +
                      "; PRAGMA user_version = 1; BEGIN;";
  for (const std::string_view table : run_file_tables) begin += std::string(table) + ";";
  if (auto begun = connection->run(begin); !begun) return tl::unexpected(begun.error());
  const store::RunRow& run = face.run;
  auto done = insert(*connection, "INSERT INTO run VALUES (?,?,?,?,?,?,?,?,?,?,?,?)", [&](store::Statement& row) {
    row.bind(run.id).bind(std::string_view(run.unit)).bind(std::string_view(run.title)).bind(std::string_view(run.serial));
    row.bind(std::string_view(run.profile_name)).bind(std::string_view(run.profile_text)).bind(std::string_view(run.plan_name)).bind(std::string_view(run.plan_text));
    row.bind(std::string_view(run.started_utc)).bind(std::string_view(run.ended_utc)).bind(std::string_view(run.started_by));
    row.bind(std::string_view(face.wiring));
  });
  for (std::size_t id = 0; done && id < face.points.size(); ++id)
    done = insert(*connection, "INSERT INTO point VALUES (?,?,?,?)", [&](store::Statement& row) {
      row.bind(static_cast<std::int64_t>(id)).bind(std::string_view(face.points[id].name)).bind(std::string_view(face.points[id].quantity)).bind(std::string_view(face.points[id].uom));
    });
  if (!done) return tl::unexpected(done.error());
  return RunFileWriter(std::move(*file), std::move(*connection), face.points.size());
}

Result<void> RunFileWriter::add(const store::InputRow& input) {
  ++nth_;
  if (input.kind != store::input_kind_readings)
    return insert(connection_, "INSERT INTO input VALUES (?,?,?,?)", [&](store::Statement& row) { row.bind(nth_).bind(ms_of(input.at)).bind(std::string_view(input.kind)).bind(std::string_view(input.json)); });
  std::vector<std::uint16_t> points;
  points.reserve(input.readings.size());
  for (const Reading& reading : input.readings) {
    const std::size_t point = reading.point().index;
    if (point >= series_.size()) return fail(Fault::bad_data, "a reading belongs to no point of the run", "the store is inconsistent; keep it for salvage");
    points.push_back(reading.point().index);
    Series& series = series_[point];
    series.values.push_back(reading.as_met());
    series.qualities.push_back(static_cast<std::int64_t>(reading.quality()));
    series.late_ms.push_back((reading.at() - input.at).count());
    if (series.values.size() == chunk_readings)
      if (auto closed = close_series(point); !closed) return closed;
  }
  auto known = point_lists_.find(points);
  if (known == point_lists_.end()) {
    const auto id = static_cast<std::int64_t>(point_lists_.size());
    auto done = insert(connection_, "INSERT INTO point_list VALUES (?,?)", [&, text = as_json(points)](store::Statement& row) { row.bind(id).bind(std::string_view(text)); });
    if (!done) return done;
    known = point_lists_.emplace(std::move(points), id).first;
  }
  batches_.nth.push_back(nth_);
  batches_.at_ms.push_back(ms_of(input.at));
  batches_.point_list.push_back(known->second);
  return batches_.nth.size() == chunk_readings ? close_batches() : Result<void>{};
}

Result<void> RunFileWriter::close_series(std::size_t point) {
  Series& series = series_[point];
  const PackedValues packed = pack_values(series.values);
  const std::string quality = pack_series(series.qualities);
  const std::string late = pack_series(series.late_ms);
  const auto count = static_cast<std::int64_t>(series.values.size());
  auto done = insert(connection_, "INSERT INTO reading_chunk (point, first, count, coding, decimals, level_count, levels, numbers, quality, late_ms) VALUES (?,?,?,?,?,?,?,?,?,?)", [&](store::Statement& row) {
    row.bind(static_cast<std::int64_t>(point)).bind(series.first).bind(count).bind(to_word(packed.coding)).bind(static_cast<std::int64_t>(packed.decimals)).bind(packed.level_count);
    row.bind_blob(packed.levels).bind_blob(packed.numbers).bind_blob(quality).bind_blob(late);
  });
  series = Series{.first = series.first + count, .values = {}, .qualities = {}, .late_ms = {}};
  return done;
}

Result<void> RunFileWriter::close_batches() {
  const std::string nth = pack_series(batches_.nth);
  const std::string at = pack_series(batches_.at_ms);
  const std::string lists = pack_series(batches_.point_list);
  const auto count = static_cast<std::int64_t>(batches_.nth.size());
  auto done = insert(connection_, "INSERT INTO batch_chunk VALUES (?,?,?,?,?)", [&](store::Statement& row) { row.bind(batches_.first).bind(count).bind_blob(nth).bind_blob(at).bind_blob(lists); });
  batches_ = Batches{.first = batches_.first + count, .nth = {}, .at_ms = {}, .point_list = {}};
  return done;
}

Result<std::string> RunFileWriter::finish() {
  Result<void> done;
  for (std::size_t point = 0; done && point < series_.size(); ++point)
    if (!series_[point].values.empty()) done = close_series(point);
  if (done && !batches_.nth.empty()) done = close_batches();
  if (done) done = connection_.run("COMMIT");
  if (!done) return tl::unexpected(done.error());
  return read_plain_file(file_.path(), run_file_bytes_max);
}

}  // namespace steadyglow::seal
