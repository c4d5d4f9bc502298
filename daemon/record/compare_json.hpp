#pragma once
/// A comparison as JSON: what `steadyglow compare --json` prints and a page draws.
#include <nlohmann/json_fwd.hpp>

#include "record/compare.hpp"

namespace steadyglow::record {

/// Values in the uom beside them; a minute without a reading is null.
nlohmann::ordered_json to_json(const Comparison& comparison);
nlohmann::ordered_json to_json(const ModelComparison& comparison);

}  // namespace steadyglow::record
