#pragma once
#include <string>
#include <tl/expected.hpp>
#include <vector>

namespace steadyglow {

/// What kind of failure, in the words of the exit codes (see app/exit_code.hpp).
enum class Fault { usage, bad_data, unavailable, cannot_create, io, permission, config };

/// An error says what went wrong, where, and what to do next.
struct Error {
  Fault fault = Fault::io;
  std::string message;
  std::string hint;   ///< may be empty
  std::string where;  ///< file:line:column, device, table; may be empty

  /// One line: `where: error: message; hint: ...`
  std::string text() const {
    std::string line = where.empty() ? "" : where + ": ";
    line += "error: " + message;
    if (!hint.empty()) line += " hint: " + hint;
    return line;
  }
};

template <class T>
using Result = tl::expected<T, Error>;

/// All mistakes of one document at once.
using Errors = std::vector<Error>;

inline tl::unexpected<Error> fail(Fault fault, std::string message, std::string hint = {}, std::string where = {}) {
  return tl::unexpected<Error>(Error{fault, std::move(message), std::move(hint), std::move(where)});
}

}  // namespace steadyglow
