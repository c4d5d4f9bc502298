#pragma once
/// A night as files: what `steadyglow replay` reads (CSV and profile), and the truth beside it.
#include <string>

#include "bench/detection/night.hpp"

namespace steadyglow::detection {

/// Writes NAME.csv, NAME.toml and NAME.json into `folder`, which is made if it is not there. Throws std::runtime_error.
void write_night(const Order& order, const std::string& folder);

}  // namespace steadyglow::detection
