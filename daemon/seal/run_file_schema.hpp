#pragma once
#include <array>
#include <string_view>

namespace steadyglow::seal {

/// The tables of run.sqlite, to the letter: a file with any other schema is refused.
inline constexpr std::array<std::string_view, 6> run_file_tables{
    R"sql(CREATE TABLE run (
  number INTEGER PRIMARY KEY,
  unit TEXT NOT NULL,
  title TEXT NOT NULL,
  serial TEXT NOT NULL,
  profile_name TEXT NOT NULL,
  profile_text TEXT NOT NULL,
  plan_name TEXT NOT NULL,
  plan_text TEXT NOT NULL,
  started_utc TEXT NOT NULL,
  ended_utc TEXT NOT NULL,
  started_by TEXT NOT NULL,
  wiring TEXT NOT NULL
) STRICT)sql",
    R"sql(CREATE TABLE point (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL,
  quantity TEXT NOT NULL,
  uom TEXT NOT NULL
) STRICT)sql",
    R"sql(CREATE TABLE input (
  nth INTEGER PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  kind TEXT NOT NULL,
  json TEXT NOT NULL
) STRICT)sql",
    R"sql(CREATE TABLE point_list (
  id INTEGER PRIMARY KEY,
  points TEXT NOT NULL
) STRICT)sql",
    R"sql(CREATE TABLE batch_chunk (
  first INTEGER PRIMARY KEY,
  count INTEGER NOT NULL,
  nth BLOB NOT NULL,
  at_ms BLOB NOT NULL,
  point_list BLOB NOT NULL
) STRICT)sql",
    R"sql(CREATE TABLE reading_chunk (
  id INTEGER PRIMARY KEY,
  point INTEGER NOT NULL,
  first INTEGER NOT NULL,
  count INTEGER NOT NULL,
  coding TEXT NOT NULL,
  decimals INTEGER NOT NULL,
  level_count INTEGER NOT NULL,
  levels BLOB NOT NULL,
  numbers BLOB NOT NULL,
  quality BLOB NOT NULL,
  late_ms BLOB NOT NULL
) STRICT)sql"};

}  // namespace steadyglow::seal
