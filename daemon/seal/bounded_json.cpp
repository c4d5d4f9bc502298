#include "seal/bounded_json.hpp"

#include <algorithm>
#include <string>

namespace steadyglow::seal {
namespace {

std::size_t depth_of(std::string_view text) {
  std::size_t depth = 0;
  std::size_t deepest = 0;
  bool is_inside_text = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (is_inside_text) {
      if (c == '\\') ++i;
      else if (c == '"') is_inside_text = false;
    } else if (c == '"') {
      is_inside_text = true;
    } else if (c == '[' || c == '{') {
      deepest = std::max(deepest, ++depth);
    } else if ((c == ']' || c == '}') && depth > 0) {
      --depth;
    }
  }
  return deepest;
}

}  // namespace

Result<nlohmann::ordered_json> bounded_json(std::string_view text, std::size_t bytes_max) {
  if (text.size() > bytes_max) return fail(Fault::bad_data, "a JSON text of " + std::to_string(text.size()) + " bytes; more than " + std::to_string(bytes_max) + " are not read");
  if (depth_of(text) > json_depth_max) return fail(Fault::bad_data, "a JSON text that is nested deeper than " + std::to_string(json_depth_max) + " levels");
  try {
    return nlohmann::ordered_json::parse(text);
  } catch (const nlohmann::json::parse_error& error) {
    return fail(Fault::bad_data, "this is no JSON from byte " + std::to_string(error.byte) + " on");
  } catch (const nlohmann::json::exception&) {
    return fail(Fault::bad_data, "this is no JSON that can be read: a number is out of range");
  }
}

}  // namespace steadyglow::seal
