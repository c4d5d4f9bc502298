#include "store/reader.hpp"

#include <algorithm>

#include "store/batch.hpp"
#include "store/read_rows.hpp"
#include "store/row_crc.hpp"
#include "store/schema.hpp"

namespace steadyglow::store {
namespace {

/// Where a search ends whose end cannot be read.
constexpr std::int64_t seq_max = std::int64_t{1} << 60;

constexpr const char* newest_seq =
    "SELECT max(coalesce((SELECT max(seq) FROM reading_batch), 0), coalesce((SELECT max(seq) FROM input), 0), coalesce((SELECT max(seq) FROM event), 0),"
    " coalesce((SELECT max(seq) FROM journal), 0))";

/// Sums of one bucket while it fills.
struct Filling {
  double min = 0.0;
  double max = 0.0;
  double sum = 0.0;
  std::uint64_t count = 0;
  void add(double value) {
    min = count == 0 ? value : std::min(min, value);
    max = count == 0 ? value : std::max(max, value);
    sum += value;
    ++count;
  }
};

}  // namespace

Result<std::unique_ptr<StoreReader>> StoreReader::open(const std::string& file) {
  auto connection = Connection::open(file, Access::read_only);
  if (!connection) {
    if (connection.error().fault == Fault::cannot_create) connection.error().message = "the store cannot be opened for reading";
    return tl::unexpected(connection.error());
  }
  if (auto quiet = connection->run("PRAGMA query_only = ON; PRAGMA wal_autocheckpoint = 0; PRAGMA cell_size_check = ON"); !quiet) return tl::unexpected(quiet.error());
  const auto now = standing(*connection, schema_version());
  if (!now) return tl::unexpected(now.error());
  if (*now == Standing::fresh) return fail(Fault::config, "there is nothing in this file yet", "is it the store that the daemon's configuration names?", file);
  if (*now == Standing::older) return fail(Fault::config, "the store has an older layout", "start the daemon on it once: it keeps a copy and brings it up to date", file);
  return std::unique_ptr<StoreReader>(new StoreReader(std::move(*connection)));
}

Result<std::vector<RunRow>> StoreReader::runs() {
  auto all = read_runs(connection_, damage_);
  if (!all) return tl::unexpected(all.error());
  std::vector<RunRow> runs;
  for (RunBegins& begins : *all) runs.push_back(std::move(begins.run));
  return runs;
}

Result<std::optional<RunRow>> StoreReader::run(std::int64_t id) {
  auto all = runs();
  if (!all) return tl::unexpected(all.error());
  for (RunRow& run : *all)
    if (run.id == id) return std::move(run);
  return std::nullopt;
}

Result<StoreReader::Stretch> StoreReader::stretch(std::int64_t run) {
  Stretch stretch;
  const auto newest = connection_.number(newest_seq);
  if (!newest && newest.error().fault != Fault::bad_data) return tl::unexpected(newest.error());
  stretch.last_seq = newest.value_or(seq_max);
  // Without a sound row of the run the whole file is searched for it.
  auto runs = read_runs(connection_, damage_);
  if (!runs) return tl::unexpected(runs.error());
  for (const RunBegins& begins : *runs)
    if (begins.run.id == run) stretch.first_seq = begins.first_seq;
  return stretch;
}

Result<void> StoreReader::read_slice(const std::string& table, const std::string& columns, std::int64_t run, Stretch& rest,
                                     const std::function<void(Statement&)>& take) {
  auto select = connection_.prepare(("SELECT seq, " + columns + " FROM " + table + " WHERE seq BETWEEN ? AND ? AND run = ? ORDER BY seq LIMIT ?").c_str());
  if (!select) return tl::unexpected(select.error());
  select->bind(rest.first_seq).bind(rest.last_seq).bind(run).bind(static_cast<std::int64_t>(rows_per_slice));
  for (std::size_t rows = 0; rows < rows_per_slice; ++rows) {
    const auto row = select->step();
    if (!row && row.error().fault != Fault::bad_data) return tl::unexpected(row.error());
    if (!row) {
      // A page cannot be read: what follows is sought behind it, in growing leaps.
      if (rest.leap == 0) tell(damage_, table + " of run " + std::to_string(run) + " cannot be read from number " + std::to_string(rest.first_seq) + " on: " + row.error().message);
      rest.leap = std::max<std::int64_t>(1, 2 * rest.leap);
      rest.first_seq += std::min(rest.leap, rest.last_seq + 1 - rest.first_seq);
      return {};
    }
    if (!*row) {
      rest.first_seq = rest.last_seq + 1;
      return {};
    }
    rest.leap = 0;
    rest.first_seq = select->number(0) + 1;
    take(*select);
  }
  return {};
}

Result<std::vector<StoreReader::Batch>> StoreReader::batches(std::int64_t run, Stretch& rest) {
  std::vector<Batch> batches;
  const auto take = [&](Statement& row) {
    Batch batch{row.number(0), at_ms(row.number(1)), {}};
    const std::string_view bytes = row.bytes(2);
    const std::string which = "readings " + std::to_string(batch.seq) + " of run " + std::to_string(run);
    if (row.number(3) != std::int64_t{row_crc("reading_batch", batch.seq, run, ms_of(batch.at), bytes)}) return tell(damage_, which + " are damaged and were left out");
    auto readings = decode_batch(batch.at, bytes);
    if (!readings) return tell(damage_, which + " were left out: " + readings.error().message);
    batch.readings = std::move(*readings);
    batches.push_back(std::move(batch));
  };
  if (auto read = read_slice("reading_batch", "at_ms, readings, crc32", run, rest, take); !read) return tl::unexpected(read.error());
  return batches;
}

Result<std::vector<EventRow>> StoreReader::texts(const std::string& table, std::int64_t run, Stretch rest) {
  std::vector<EventRow> texts;
  const auto take = [&](Statement& row) {
    EventRow text{row.number(0), at_ms(row.number(1)), std::string(row.bytes(2)), std::string(row.bytes(3))};
    if (row.number(4) != std::int64_t{row_crc(table, text.seq, run, ms_of(text.at), text.kind, text.json)})
      return tell(damage_, table + " " + std::to_string(text.seq) + " of run " + std::to_string(run) + " is damaged and was left out");
    texts.push_back(std::move(text));
  };
  while (!rest.is_done())
    if (auto read = read_slice(table, "at_ms, kind, json, crc32", run, rest, take); !read) return tl::unexpected(read.error());
  return texts;
}

Result<void> StoreReader::for_each_input(std::int64_t run, const std::function<void(const InputRow&)>& visit) {
  auto rest = stretch(run);
  if (!rest) return tl::unexpected(rest.error());
  const auto others = texts("input", run, *rest);
  if (!others) return tl::unexpected(others.error());
  auto other = others->begin();
  const auto visit_others_before = [&](std::int64_t seq) {
    for (; other != others->end() && other->seq < seq; ++other) visit({other->seq, other->at, other->kind, {}, other->json});
  };
  while (!rest->is_done()) {
    auto slice = batches(run, *rest);
    if (!slice) return tl::unexpected(slice.error());
    for (Batch& batch : *slice) {
      visit_others_before(batch.seq);
      visit({batch.seq, batch.at, std::string(input_kind_readings), std::move(batch.readings), {}});
    }
  }
  visit_others_before(seq_max + 1);
  return {};
}

Result<std::vector<EventRow>> StoreReader::events(std::int64_t run) {
  const auto all = stretch(run);
  if (!all) return tl::unexpected(all.error());
  return texts("event", run, *all);
}

Result<std::vector<JournalRow>> StoreReader::journal(std::int64_t after_seq) {
  std::vector<JournalRow> rows;
  auto select = connection_.prepare("SELECT seq, utc_ms, kind, json, crc32 FROM journal WHERE seq > ? ORDER BY seq");
  if (!select) return tl::unexpected(select.error());
  select->bind(after_seq);
  while (true) {
    const auto row = select->step();
    if (!row && row.error().fault != Fault::bad_data) return tl::unexpected(row.error());
    if (!row) return tell(damage_, "the journal cannot be read to its end: " + row.error().message), rows;
    if (!*row) return rows;
    JournalRow entry{select->number(0), select->number(1), std::string(select->bytes(2)), std::string(select->bytes(3))};
    if (select->number(4) != std::int64_t{row_crc("journal", entry.seq, entry.utc_ms, entry.kind, entry.json)})
      tell(damage_, "journal " + std::to_string(entry.seq) + " is damaged and was left out");
    else rows.push_back(std::move(entry));
  }
}

Result<std::int64_t> StoreReader::first_at_or_after(std::int64_t run, Stretch stretch, Timestamp at) {
  // Run time never decreases along a run, so it can be halved; a probe lands on the next row of this run.
  auto probe = connection_.prepare("SELECT seq, at_ms FROM reading_batch WHERE seq BETWEEN ? AND ? AND run = ? ORDER BY seq LIMIT 1");
  if (!probe) return tl::unexpected(probe.error());
  std::int64_t low = stretch.first_seq;
  std::int64_t high = stretch.last_seq + 1;
  while (low < high) {
    const std::int64_t middle = low + (high - low) / 2;
    probe->bind(middle).bind(stretch.last_seq).bind(run);
    const auto row = probe->step();
    if (!row) return tl::unexpected(row.error());
    const bool is_before = *row && at_ms(probe->number(1)) < at;
    if (is_before) low = probe->number(0) + 1;
    else high = middle;
    probe->reset();
  }
  return low;
}

Result<std::optional<Timestamp>> StoreReader::last_readings_at(std::int64_t run) {
  const auto all = stretch(run);
  if (!all) return tl::unexpected(all.error());
  auto select = connection_.prepare("SELECT at_ms FROM reading_batch WHERE seq BETWEEN ? AND ? AND run = ? ORDER BY seq DESC LIMIT 1");
  if (!select) return tl::unexpected(select.error());
  select->bind(all->first_seq).bind(all->last_seq).bind(run);
  const auto row = select->step();
  if (!row) return tl::unexpected(row.error());
  return *row ? std::optional(at_ms(select->number(0))) : std::nullopt;
}

Result<HistoryBuckets> StoreReader::history(std::int64_t run, std::span<const PointId> points, Timestamp from, Timestamp to, std::size_t buckets) {
  if (from >= to) return fail(Fault::usage, "the stretch of time is empty", "its end must be later than its beginning");
  if (buckets == 0 || buckets > history_buckets_max) return fail(Fault::usage, "the number of buckets must be 1 to " + std::to_string(history_buckets_max));
  auto rest = stretch(run);
  if (!rest) return tl::unexpected(rest.error());
  const auto first = first_at_or_after(run, *rest, from);
  if (!first) return tl::unexpected(first.error());
  rest->first_seq = *first;

  std::vector<std::vector<Filling>> fillings(points.size(), std::vector<Filling>(buckets));
  const auto count = static_cast<std::int64_t>(buckets);
  const auto add = [&](const Reading& reading) {
    if (!reading.is_good() || reading.at() < from || reading.at() >= to) return;
    const auto bucket = static_cast<std::size_t>((reading.at() - from).count() * count / (to - from).count());
    for (std::size_t i = 0; i < points.size(); ++i)
      if (points[i] == reading.point()) fillings[i][bucket].add(reading.value());
  };
  while (!rest->is_done()) {
    const auto slice = batches(run, *rest);
    if (!slice) return tl::unexpected(slice.error());
    for (const Batch& batch : *slice)
      for (const Reading& reading : batch.readings) add(reading);
    if (!slice->empty() && slice->back().at >= to) break;
  }

  HistoryBuckets history{from, to, buckets, std::vector<std::vector<std::optional<Bucket>>>(points.size(), std::vector<std::optional<Bucket>>(buckets))};
  for (std::size_t i = 0; i < points.size(); ++i)
    for (std::size_t b = 0; b < buckets; ++b)
      if (const Filling& f = fillings[i][b]; f.count > 0) history.series[i][b] = Bucket{f.min, f.sum / static_cast<double>(f.count), f.max, f.count};
  return history;
}

}  // namespace steadyglow::store
