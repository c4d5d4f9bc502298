#pragma once
#include <cstddef>
#include <string>

#include "core/result.hpp"

namespace steadyglow::app {

/// Reads a whole small text file (config, profile, plan, instrument). Fails with the path and the system's reason.
Result<std::string> read_text_file(const std::string& path, std::size_t bytes_max = std::size_t{1} << 20);

/// `file` as seen from the folder that `base_file` lies in; absolute paths stay as they are.
std::string beside(const std::string& base_file, const std::string& file);

}  // namespace steadyglow::app
