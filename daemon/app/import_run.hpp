#pragma once
/// An old log of readings becomes a run of the store: fed to an engine now, marked as brought in, whole or not at all.
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "core/result.hpp"
#include "store/rows.hpp"
#include "core/timestamp.hpp"

namespace steadyglow::app {

struct ImportOptions {
  std::string store;
  std::string file;     ///< CSV as `replay` reads it, or what `export` wrote as JSON Lines
  std::string profile;  ///< file; empty for JSON Lines: the one in it
  std::string plan;     ///< file; empty: as for replay, or the one of the JSON Lines
  std::string unit, title, serial;  ///< empty for JSON Lines: those in it
  std::string who;      ///< who brings it in
  std::string began;    ///< RFC 3339; needed where the log has no dates
  bool may_begin_store = false;
  std::function<void(double share)> progress;
};

struct Imported {
  std::int64_t run = 0;
  std::uint64_t rows = 0;
  std::uint64_t readings = 0;
  std::uint64_t acts = 0;         ///< that somebody did, out of JSON Lines
  Duration length{};
  std::string sha256;             ///< of the file
  std::string verdict;            ///< as the engine proposes it now
  std::vector<std::string> reasons;
  std::vector<std::string> missing;  ///< points of the profile without a column
};

/// A name, a title, a serial number: longer is a mistake.
inline constexpr std::size_t import_name_bytes_max = 80;

/// The event that marks such a run: {"file","sha256","who","imported_utc","was_run"}.
using store::event_kind_imported;

/// Fails with every mistake of the options, the profile or the plan, or with the first of the file (file:line); the store is then
/// as it was. Fault::unavailable while a daemon has the store.
Result<Imported> import_run(const ImportOptions& options, Errors& errors);

}  // namespace steadyglow::app
