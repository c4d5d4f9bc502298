#pragma once
#include <string>

#include "seal/manifest.hpp"

namespace steadyglow::seal {

/// README.txt: what this is, and how a stranger checks it with what every system has.
std::string readme(const Manifest& manifest);

}  // namespace steadyglow::seal
