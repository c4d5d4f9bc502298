#pragma once
/// The figures on a benchmark's command line.
#include <charconv>
#include <cstring>
#include <stdexcept>
#include <string>
#include <system_error>

namespace steadyglow::tests {

/// The word at `index` as a whole number above 0, or `otherwise` where there is none. Throws std::invalid_argument for anything else: a word
/// that was read as a figure of hours would look like a benchmark that hangs.
inline int whole_number(int count, char** words, int index, int otherwise) {
  if (index >= count) return otherwise;
  const char* end = words[index] + std::strlen(words[index]);
  int value = 0;
  if (const auto [at, error] = std::from_chars(words[index], end, value); error != std::errc() || at != end || value < 1)
    throw std::invalid_argument("`" + std::string(words[index]) + "` is no whole number above 0; the first lines of the source say what is expected");
  return value;
}

}  // namespace steadyglow::tests
