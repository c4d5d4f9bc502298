#include "store/schema.hpp"

#include <array>

namespace steadyglow::store {
namespace {

// Plain rowid tables that only ever grow at their end: no index, no WITHOUT ROWID. Either would touch a page per point
// and multiply what is written to flash.
constexpr std::array<Migration, 2> steps_so_far{{
    {1, R"sql(
CREATE TABLE run (
  id INTEGER PRIMARY KEY,
  first_seq INTEGER NOT NULL,
  unit TEXT NOT NULL,
  title TEXT NOT NULL,
  serial TEXT NOT NULL,
  profile_name TEXT NOT NULL,
  profile_text TEXT NOT NULL,
  plan_name TEXT NOT NULL,
  plan_text TEXT NOT NULL,
  started_utc TEXT NOT NULL,
  boot_id TEXT NOT NULL,
  started_boottime_ms INTEGER NOT NULL,
  started_by TEXT NOT NULL,
  points TEXT NOT NULL,
  crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE run_end (
  run INTEGER PRIMARY KEY,
  last_seq INTEGER NOT NULL,
  ended_utc TEXT NOT NULL,
  crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE reading_batch (
  seq INTEGER PRIMARY KEY,
  run INTEGER NOT NULL,
  at_ms INTEGER NOT NULL,
  readings BLOB NOT NULL,
  crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE input (
  seq INTEGER PRIMARY KEY,
  run INTEGER NOT NULL,
  at_ms INTEGER NOT NULL,
  kind TEXT NOT NULL,
  json TEXT NOT NULL,
  crc32 INTEGER NOT NULL
) STRICT;
CREATE TABLE event (
  seq INTEGER PRIMARY KEY,
  run INTEGER NOT NULL,
  at_ms INTEGER NOT NULL,
  kind TEXT NOT NULL,
  json TEXT NOT NULL,
  crc32 INTEGER NOT NULL
) STRICT;
)sql"},
    {2, R"sql(
CREATE TABLE journal (
  seq INTEGER PRIMARY KEY,
  utc_ms INTEGER NOT NULL,
  kind TEXT NOT NULL,
  json TEXT NOT NULL,
  crc32 INTEGER NOT NULL
) STRICT;
)sql"},
}};

Result<void> take_step(Connection& connection, const Migration& step) {
  if (auto begun = connection.run("BEGIN IMMEDIATE"); !begun) return begun;
  auto done = connection.run(step.sql);
  if (done) done = connection.run("PRAGMA application_id = " + std::to_string(application_id));
  if (done) done = connection.run("PRAGMA user_version = " + std::to_string(step.to_version));
  if (done) done = connection.run("COMMIT");
  if (!done && connection.is_in_transaction()) (void)connection.run("ROLLBACK");
  return done;
}

}  // namespace

std::span<const Migration> migrations() { return steps_so_far; }
std::int64_t schema_version() { return steps_so_far.back().to_version; }

Result<Standing> standing(Connection& connection, std::int64_t newest_version) {
  const auto tables = connection.number("SELECT count(*) FROM sqlite_schema");
  if (!tables) return tl::unexpected(tables.error());
  const auto id = connection.number("PRAGMA application_id");
  if (!id) return tl::unexpected(id.error());
  const auto version = connection.number("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  if (*tables == 0 && *id == 0 && *version == 0) return Standing::fresh;
  if (*id != application_id) return fail(Fault::config, "this is the database of another program", "name another file as store", connection.file());
  if (*version > newest_version)
    return fail(Fault::config, "the store was written by a newer version (layout " + std::to_string(*version) + ", this program knows " + std::to_string(newest_version) + ")",
                "install the newer version again, or name another file as store; nothing was changed", connection.file());
  return *version < newest_version ? Standing::older : Standing::current;
}

Result<void> migrate(Connection& connection, const std::string& file, std::span<const Migration> steps) {
  const auto now = standing(connection, steps.back().to_version);
  if (!now) return tl::unexpected(now.error());
  const auto version = connection.number("PRAGMA user_version");
  if (!version) return tl::unexpected(version.error());
  if (*now == Standing::older) {
    const std::string copy = file + ".before-v" + std::to_string(steps.back().to_version);
    if (auto kept = connection.back_up_to(copy); !kept) return kept;
  }
  for (const Migration& step : steps) {
    if (step.to_version <= *version) continue;
    if (auto taken = take_step(connection, step); !taken) return taken;
  }
  return {};
}

}  // namespace steadyglow::store
