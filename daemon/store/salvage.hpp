#pragma once
#include <functional>
#include <span>
#include <string>

#include "core/result.hpp"
#include "store/queued_rows.hpp"

namespace steadyglow::store {

struct Salvaged {
  std::int64_t newest_run = 0;  ///< so that numbers of runs are not given twice
  Damage damage;
};

/// Reads out of a damaged store all that is sound of the runs that were going on and of the journal, so that
/// guarding can go on from it. `take`
/// gets the rows with the numbers they had, each run's beginning first.
Result<Salvaged> salvage_running_runs(const std::string& file, const std::function<Result<void>(std::span<const Row>)>& take);

}  // namespace steadyglow::store
