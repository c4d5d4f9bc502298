#include "store/backup.hpp"

#include <algorithm>
#include <filesystem>

#include "store/batch.hpp"
#include "store/read_rows.hpp"
#include "store/row_crc.hpp"
#include "store/schema.hpp"
#include "store/sqlite.hpp"

namespace steadyglow::store {
namespace {

Result<Connection> open_quietly(const std::string& file) {
  auto connection = Connection::open(file, Access::read_only);
  if (!connection) {
    if (connection.error().fault == Fault::cannot_create) connection.error().message = "the store cannot be opened for reading";
    return connection;
  }
  if (auto quiet = connection->run("PRAGMA query_only = ON; PRAGMA wal_autocheckpoint = 0; PRAGMA cell_size_check = ON"); !quiet) return tl::unexpected(quiet.error());
  const auto now = standing(*connection, schema_version());
  if (!now) return tl::unexpected(now.error());
  if (*now == Standing::fresh) return fail(Fault::config, "there is nothing in this file yet", "is it the store that the daemon's configuration names?", file);
  return connection;
}

void tell(const Progress& progress, const char* what, double share) {
  if (progress) progress(what, share);
}

Result<void> check_pages(const std::string& file) {
  auto connection = open_quietly(file);
  if (!connection) return tl::unexpected(connection.error());
  const auto found = connection->text("PRAGMA integrity_check(1)");
  if (!found) return tl::unexpected(found.error());
  if (*found != "ok") return fail(Fault::bad_data, "the file is damaged: " + *found, "keep it for salvage; look at the disk or card", file);
  return {};
}

/// Every row of a table against its checksum, in short slices.
struct RowCheck {
  Connection& connection;
  Damage& damage;
  const Progress& progress;

  Result<void> table(const std::string& name, const std::string& columns, const std::function<bool(Statement&)>& is_sound, std::uint64_t& count) {
    const auto newest = connection.number(("SELECT coalesce(max(seq), 0) FROM " + name).c_str());
    if (!newest) return tl::unexpected(newest.error());
    auto select = connection.prepare(("SELECT seq, " + columns + " FROM " + name + " WHERE seq > ? ORDER BY seq LIMIT ?").c_str());
    if (!select) return tl::unexpected(select.error());
    std::int64_t last = 0;
    while (true) {
      select->bind(last).bind(rows_per_slice);
      std::int64_t met = 0;
      for (; met < rows_per_slice; ++met) {
        const auto row = select->step();
        if (!row) return tl::unexpected(row.error());
        if (!*row) break;
        last = select->number(0);
        ++count;
        if (!is_sound(*select)) store::tell(damage, name + " " + std::to_string(last) + " is damaged");
      }
      select->reset();
      if (met < rows_per_slice) return {};
      tell(progress, "rows", static_cast<double>(last) / static_cast<double>(std::max(last, *newest)));
    }
  }
  static constexpr std::int64_t rows_per_slice = 1000;
};

}  // namespace

Result<StoreCheck> check_store(const std::string& file, const Progress& progress) {
  tell(progress, "pages", 0.0);
  if (auto pages = check_pages(file); !pages) return tl::unexpected(pages.error());
  auto connection = open_quietly(file);
  if (!connection) return tl::unexpected(connection.error());
  StoreCheck check;
  const auto runs = read_runs(*connection, check.damage);
  if (!runs) return tl::unexpected(runs.error());
  check.runs = runs->size();
  for (const RunBegins& begins : *runs) check.running += begins.run.state == "running" ? 1 : 0;

  const auto is_sound_batch = [](Statement& row) {
    const std::string_view bytes = row.bytes(3);
    return row.number(4) == std::int64_t{row_crc("reading_batch", row.number(0), row.number(1), row.number(2), bytes)} && decode_batch(at_ms(row.number(2)), bytes).has_value();
  };
  const auto is_sound_text = [](const char* table) {
    return [table](Statement& row) { return row.number(5) == std::int64_t{row_crc(table, row.number(0), row.number(1), row.number(2), row.bytes(3), row.bytes(4))}; };
  };
  const auto is_sound_journal = [](Statement& row) { return row.number(4) == std::int64_t{row_crc("journal", row.number(0), row.number(1), row.bytes(2), row.bytes(3))}; };
  RowCheck rows{*connection, check.damage, progress};
  auto done = rows.table("reading_batch", "run, at_ms, readings, crc32", is_sound_batch, check.batches);
  if (done) done = rows.table("input", "run, at_ms, kind, json, crc32", is_sound_text("input"), check.inputs);
  if (done) done = rows.table("event", "run, at_ms, kind, json, crc32", is_sound_text("event"), check.events);
  if (done) done = rows.table("journal", "utc_ms, kind, json, crc32", is_sound_journal, check.journal);
  if (!done) return tl::unexpected(done.error());
  tell(progress, "rows", 1.0);
  return check;
}

Result<void> copy_store(const std::string& file, const std::string& copy, const Progress& progress) {
  std::error_code code;
  if (std::filesystem::exists(copy, code)) return fail(Fault::cannot_create, "there is something of this name already", "name a new one", copy);
  auto connection = open_quietly(file);
  if (!connection) return tl::unexpected(connection.error());
  return connection->back_up_to(copy, [&](double share) { tell(progress, "copy", share); });
}

}  // namespace steadyglow::store
