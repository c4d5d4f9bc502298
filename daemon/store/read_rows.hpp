#pragma once
/// Rows out of the file, each against its checksum.
#include <vector>

#include "core/result.hpp"
#include "store/rows.hpp"
#include "store/sqlite.hpp"

namespace steadyglow::store {

void tell(Damage& damage, std::string sentence);

/// All runs, oldest first. A damaged row is told and left out; a run whose end is damaged counts as running.
Result<std::vector<RunBegins>> read_runs(Connection& connection, Damage& damage);

}  // namespace steadyglow::store
