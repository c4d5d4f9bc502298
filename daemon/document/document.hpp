#pragma once
/// A TOML text read strictly: every mistake with its file, line, column and a hint, all of them at once.
/// The parser is toml++; this room keeps it to one translation unit and knows where each value stood.
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::document {

struct Place {
  std::uint32_t line = 0;  ///< from 1; 0 is "nowhere in particular"
  std::uint32_t column = 0;
};

struct Member;

/// One TOML value and where it stands.
struct Node {
  enum class Kind { text, integer, decimal, boolean, array, table, other };
  Kind kind = Kind::other;
  Place place;
  std::string text;
  double number = 0.0;  ///< integer and decimal alike
  bool flag = false;
  std::vector<Node> items;
  std::vector<Member> members;  ///< in the order of the file
};

struct Member {
  std::string key;
  Place place;
  Node node;
};

inline constexpr std::size_t document_bytes_max = 1024 * 1024;

/// Parses a whole document. On a syntax error the result is an empty table and `errors` says where.
Node parse(std::string_view text, std::string_view file, Errors& errors);

/// "file:line:column"
std::string place_text(std::string_view file, Place place);

}  // namespace steadyglow::document
