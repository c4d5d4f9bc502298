#include "document/document.hpp"

#include <algorithm>
#include <toml++/toml.h>

namespace steadyglow::document {
namespace {

Place place_of(const toml::source_region& region) { return {region.begin.line, region.begin.column}; }

bool stands_before(const Member& a, const Member& b) {
  return a.place.line != b.place.line ? a.place.line < b.place.line : a.place.column < b.place.column;
}

Node copy(const toml::node& from) {
  Node node;
  node.place = place_of(from.source());
  if (const auto* text = from.as_string()) {
    node.kind = Node::Kind::text;
    node.text = text->get();
  } else if (const auto* integer = from.as_integer()) {
    node.kind = Node::Kind::integer;
    node.number = static_cast<double>(integer->get());
  } else if (const auto* decimal = from.as_floating_point()) {
    node.kind = Node::Kind::decimal;
    node.number = decimal->get();
  } else if (const auto* flag = from.as_boolean()) {
    node.kind = Node::Kind::boolean;
    node.flag = flag->get();
  } else if (const auto* array = from.as_array()) {
    node.kind = Node::Kind::array;
    for (const toml::node& item : *array) node.items.push_back(copy(item));
  } else if (const auto* table = from.as_table()) {
    node.kind = Node::Kind::table;
    for (const auto& [key, value] : *table)
      node.members.push_back({std::string(key.str()), place_of(key.source()), copy(value)});
    std::sort(node.members.begin(), node.members.end(), stands_before);
  }
  return node;
}

}  // namespace

std::string place_text(std::string_view file, Place place) {
  std::string text(file);
  if (place.line != 0) text += ":" + std::to_string(place.line) + ":" + std::to_string(place.column);
  return text;
}

Node parse(std::string_view text, std::string_view file, Errors& errors) {
  Node nothing;
  nothing.kind = Node::Kind::table;
  if (text.size() > document_bytes_max) {
    errors.push_back({Fault::config, "the file is larger than " + std::to_string(document_bytes_max) + " bytes",
                      "is this the right file?", std::string(file)});
    return nothing;
  }
  try {
    return copy(toml::parse(text, file));
  } catch (const toml::parse_error& error) {
    errors.push_back({Fault::config, "not valid TOML: " + std::string(error.description()),
                      "look at the line above as well; text needs quotes", place_text(file, place_of(error.source()))});
    return nothing;
  }
}

}  // namespace steadyglow::document
