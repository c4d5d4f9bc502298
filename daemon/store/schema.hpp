#pragma once
/// What the file must look like, and how an older one gets there.
#include <cstdint>
#include <span>
#include <string>

#include "core/result.hpp"
#include "store/sqlite.hpp"

namespace steadyglow::store {

/// "SGLW" in the header of the file (PRAGMA application_id): not just any SQLite database.
inline constexpr std::int64_t application_id = 0x53474C57;

/// One step forward. Never edited once it has been in a release: a new step is added behind it.
struct Migration {
  std::int64_t to_version;
  const char* sql;
};
std::span<const Migration> migrations();
std::int64_t schema_version();

enum class Standing { fresh, older, current };

/// Reads only. Fails: Fault::config for another program's database or a newer schema, Fault::bad_data for a damaged file.
Result<Standing> standing(Connection& connection, std::int64_t newest_version);

/// Brings the file to the last of `steps`. Before an older file is touched its copy is kept as FILE.before-vN.
Result<void> migrate(Connection& connection, const std::string& file, std::span<const Migration> steps);

}  // namespace steadyglow::store
