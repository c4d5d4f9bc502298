#include <algorithm>
#include <limits>
#include <optional>

#include "seal/bounded_json.hpp"
#include "seal/run_file.hpp"
#include "seal/run_file_schema.hpp"
#include "store/batch.hpp"

namespace steadyglow::seal {
namespace {

constexpr std::size_t points_most = 4096;
constexpr std::size_t point_lists_most = 100'000;

tl::unexpected<Error> wrong(std::string message) { return fail(Fault::bad_data, "run.sqlite: " + std::move(message)); }

/// One error for all: whatever SQLite says of a stranger's file, the file is what is wrong.
tl::unexpected<Error> wrong(const Error& error) { return wrong(error.message); }

struct Batch {
  std::int64_t nth = 0;
  Timestamp at{};
  std::size_t point_list = 0;
};

}  // namespace

/// Where the reading stands in one point's chunks.
struct RunFileReader::Cursor {
  std::int64_t first = 0;  ///< of the next chunk
  std::vector<double> values;
  std::vector<std::int64_t> qualities;
  std::vector<std::int64_t> late_ms;
  std::size_t next = 0;
  bool is_spent() const { return next == values.size(); }
};

Result<RunFileReader> RunFileReader::open(std::string_view bytes) {
  if (!bytes.starts_with(std::string_view("SQLite format 3\0", 16))) return wrong("this is no SQLite file");
  auto file = ScratchFile::make(bytes);
  if (!file) return tl::unexpected(file.error());
  auto connection = store::Connection::open(file->path(), store::Access::read_only);
  if (!connection) return wrong(connection.error());
  RunFileReader reader(std::move(*file), std::move(*connection));
  if (auto read = reader.read_face(); !read) return tl::unexpected(read.error());
  if (auto read = reader.read_point_lists(); !read) return tl::unexpected(read.error());
  return reader;
}

Result<void> RunFileReader::read_face() {
  const auto id = connection_.number("PRAGMA application_id");
  const auto version = connection_.number("PRAGMA user_version");
  if (!id || !version) return wrong(!id ? id.error() : version.error());
  if (*id != run_file_id || *version != 1) return wrong("it is not the file of a sealed record");
  auto tables = connection_.prepare("SELECT sql FROM sqlite_schema ORDER BY rowid");
  if (!tables) return wrong(tables.error());
  for (std::size_t i = 0;; ++i) {
    const auto row = tables->step();
    if (!row) return wrong(row.error());
    if (!*row && i == run_file_tables.size()) break;
    if (!*row || i >= run_file_tables.size() || tables->bytes(0) != run_file_tables[i]) return wrong("its tables are not those of FORMAT.md");
  }
  const auto sound = connection_.text("PRAGMA integrity_check(1)");
  if (!sound) return wrong(sound.error());
  if (*sound != "ok") return wrong("its pages are damaged: " + *sound);

  auto row = connection_.prepare("SELECT number, unit, title, serial, profile_name, profile_text, plan_name, plan_text, started_utc, ended_utc, started_by, wiring FROM run LIMIT 2");
  if (!row) return wrong(row.error());
  const auto is_there = row->step();
  if (!is_there) return wrong(is_there.error());
  if (!*is_there) return wrong("it holds no run");
  store::RunRow& run = face_.run;
  run.id = row->number(0);
  int column = 0;
  for (std::string* text : {&run.unit, &run.title, &run.serial, &run.profile_name, &run.profile_text, &run.plan_name, &run.plan_text, &run.started_utc, &run.ended_utc, &run.started_by, &face_.wiring}) {
    const std::string_view bytes = row->bytes(++column);
    if (bytes.size() > text_bytes_max) return wrong("a text of its run is too long");
    *text = bytes;
  }
  run.state = "ended";
  const auto another = row->step();
  if (!another) return wrong(another.error());
  if (*another) return wrong("it holds more than one run");

  auto points = connection_.prepare("SELECT id, name, quantity, uom FROM point ORDER BY id");
  if (!points) return wrong(points.error());
  while (true) {
    const auto point = points->step();
    if (!point) return wrong(point.error());
    if (!*point) return {};
    if (points->number(0) != static_cast<std::int64_t>(face_.points.size()) || face_.points.size() >= points_most) return wrong("its points are not numbered from 0");
    face_.points.push_back({std::string(points->bytes(1)), std::string(points->bytes(2)), std::string(points->bytes(3))});
    run.points.push_back(face_.points.back().name);
  }
}

Result<void> RunFileReader::read_point_lists() {
  auto lists = connection_.prepare("SELECT id, points FROM point_list ORDER BY id");
  if (!lists) return wrong(lists.error());
  while (true) {
    const auto row = lists->step();
    if (!row) return wrong(row.error());
    if (!*row) return {};
    if (lists->number(0) != static_cast<std::int64_t>(point_lists_.size()) || point_lists_.size() >= point_lists_most) return wrong("its lists of points are not numbered from 0");
    const auto json = bounded_json(lists->bytes(1));
    if (!json || !json->is_array() || json->size() > store::batch_readings_max) return wrong("a list of points cannot be read");
    std::vector<std::uint16_t> list;
    for (const auto& one : *json) {
      if (!one.is_number_unsigned() || one.get<std::uint64_t>() >= face_.points.size()) return wrong("a list names a point that is not there");
      list.push_back(one.get<std::uint16_t>());
    }
    point_lists_.push_back(std::move(list));
  }
}

Result<void> RunFileReader::load(Cursor& cursor, std::size_t point) {
  auto row = connection_.prepare("SELECT count, coding, decimals, level_count, levels, numbers, quality, late_ms FROM reading_chunk WHERE point = ? AND first = ?");
  if (!row) return wrong(row.error());
  row->bind(static_cast<std::int64_t>(point)).bind(cursor.first);
  const auto is_there = row->step();
  if (!is_there) return wrong(is_there.error());
  const std::string where = "point " + face_.points[point].name + ", from its reading " + std::to_string(cursor.first) + ": ";
  if (!*is_there) return wrong(where + "the readings are missing");
  const std::int64_t count = row->number(0);
  if (count < 1 || count > static_cast<std::int64_t>(chunk_readings)) return wrong(where + "a count that cannot be");
  const auto coding = coding_from_word(row->bytes(1));
  if (!coding) return wrong(where + coding.error().message);
  const std::int64_t decimals = row->number(2);
  if (decimals < 0 || decimals > decimals_max) return wrong(where + "a number of decimals that cannot be");
  PackedValues packed{.coding = *coding, .decimals = static_cast<int>(decimals), .level_count = row->number(3), .levels = std::string(row->bytes(4)), .numbers = std::string(row->bytes(5))};
  auto values = unpack_values(packed, static_cast<std::size_t>(count));
  auto qualities = unpack_series(row->bytes(6), static_cast<std::size_t>(count));
  auto late = unpack_series(row->bytes(7), static_cast<std::size_t>(count));
  if (!values) return wrong(where + values.error().message);
  if (!qualities || !late) return wrong(where + (!qualities ? qualities.error() : late.error()).message);
  if (std::any_of(qualities->begin(), qualities->end(), [](std::int64_t q) { return q < 0 || q >= quality_count; })) return wrong(where + "an unknown quality");
  cursor = {.first = cursor.first + count, .values = std::move(*values), .qualities = std::move(*qualities), .late_ms = std::move(*late), .next = 0};
  return {};
}

Result<void> RunFileReader::for_each_input(const std::function<void(const store::InputRow&)>& visit) {
  inputs_ = 0;
  std::vector<Cursor> cursors(face_.points.size());
  auto others = connection_.prepare("SELECT nth, at_ms, kind, json FROM input ORDER BY nth");
  if (!others) return wrong(others.error());
  auto other = others->step();
  if (!other) return wrong(other.error());
  const auto visit_others_before = [&](std::int64_t nth) -> Result<void> {
    while (*other && others->number(0) < nth) {
      if (others->number(0) != ++inputs_) return wrong("input " + std::to_string(inputs_) + " is missing");
      if (others->bytes(3).size() > text_bytes_max) return wrong("input " + std::to_string(inputs_) + " is too long");
      visit({.seq = inputs_, .at = at_ms(others->number(1)), .kind = std::string(others->bytes(2)), .readings = {}, .json = std::string(others->bytes(3))});
      other = others->step();
      if (!other) return wrong(other.error());
    }
    return {};
  };
  auto chunks = connection_.prepare("SELECT first, count, nth, at_ms, point_list FROM batch_chunk ORDER BY first");
  if (!chunks) return wrong(chunks.error());
  store::InputRow input;
  input.kind = store::input_kind_readings;
  for (std::int64_t first = 0;;) {
    const auto chunk = chunks->step();
    if (!chunk) return wrong(chunk.error());
    if (!*chunk) break;
    const std::int64_t count = chunks->number(1);
    if (chunks->number(0) != first || count < 1 || count > static_cast<std::int64_t>(chunk_readings)) return wrong("batch " + std::to_string(first) + " is missing");
    const auto nth = unpack_series(chunks->bytes(2), static_cast<std::size_t>(count));
    const auto at = unpack_series(chunks->bytes(3), static_cast<std::size_t>(count));
    const auto lists = unpack_series(chunks->bytes(4), static_cast<std::size_t>(count));
    if (!nth || !at || !lists) return wrong("batches from " + std::to_string(first) + ": " + (!nth ? nth.error() : !at ? at.error() : lists.error()).message);
    first += count;
    for (std::size_t i = 0; i < static_cast<std::size_t>(count); ++i) {
      if (auto visited = visit_others_before((*nth)[i]); !visited) return visited;
      if ((*nth)[i] != ++inputs_) return wrong("input " + std::to_string(inputs_) + " is missing");
      if ((*lists)[i] < 0 || (*lists)[i] >= static_cast<std::int64_t>(point_lists_.size())) return wrong("a batch has a list of points that is not there");
      input.seq = inputs_;
      input.at = at_ms((*at)[i]);
      input.readings.clear();
      for (const std::uint16_t point : point_lists_[static_cast<std::size_t>((*lists)[i])]) {
        Cursor& cursor = cursors[point];
        if (cursor.is_spent())
          if (auto loaded = load(cursor, point); !loaded) return loaded;
        const std::size_t k = cursor.next++;
        // Unsigned, so that a forged time wraps instead of overflowing.
        const auto own_ms = static_cast<std::int64_t>(static_cast<std::uint64_t>((*at)[i]) + static_cast<std::uint64_t>(cursor.late_ms[k]));
        input.readings.push_back(Reading::of(PointId{point}, at_ms(own_ms), cursor.values[k], static_cast<Quality>(cursor.qualities[k])));
      }
      visit(input);
    }
  }
  if (auto visited = visit_others_before(std::numeric_limits<std::int64_t>::max()); !visited) return visited;
  // Nothing may be left over: a reading that is fed to nobody proves nothing.
  std::int64_t fed = 0;
  for (const Cursor& cursor : cursors) {
    if (!cursor.is_spent()) return wrong("it holds readings that belong to no batch");
    fed += cursor.first;
  }
  const auto held = connection_.number("SELECT coalesce(sum(count), 0) FROM reading_chunk");
  if (!held) return wrong(held.error());
  if (*held != fed) return wrong("it holds readings that belong to no batch");
  return {};
}

}  // namespace steadyglow::seal
