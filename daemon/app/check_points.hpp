#pragma once
/// What `steadyglow check` says of a configuration that has no mistake: every point's chain with one worked number, and the meters' papers.
#include <string>
#include <string_view>
#include <vector>

#include "app/settings.hpp"

namespace steadyglow::app {

/// Lines of text of about a hundred columns. `today`: RFC 3339 full-date, for calibrations that are due.
std::vector<std::string> chain_lines(const Settings& settings, std::string_view today);

}  // namespace steadyglow::app
