#include "http/target.hpp"

#include <charconv>

namespace steadyglow::http {

std::optional<std::string> decode(std::string_view text, bool is_plus_blank) {
  std::string decoded;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '%') {
      decoded += is_plus_blank && text[i] == '+' ? ' ' : text[i];
      continue;
    }
    unsigned code = 0;
    if (i + 2 >= text.size()) return std::nullopt;
    const char* const begin = text.data() + i + 1;
    const auto [end, status] = std::from_chars(begin, begin + 2, code, 16);
    if (status != std::errc{} || end != begin + 2) return std::nullopt;
    decoded += static_cast<char>(code);
    i += 2;
  }
  return decoded;
}

std::optional<std::string_view> Target::value(std::string_view name) const {
  for (const auto& [key, value] : query)
    if (key == name) return value;
  return std::nullopt;
}

bool is_photo_address(std::string_view target) {
  const auto parts = split(target.substr(0, target.find('?')), '/');  // "", "api", "v1", "cards", NAME, "photos"
  return parts.size() == 6 && parts[1] == "api" && parts[2] == "v1" && parts[3] == "cards" && parts[5] == "photos";
}

std::vector<std::string> split(std::string_view text, char at) {
  std::vector<std::string> parts;
  for (;;) {
    const std::size_t end = text.find(at);
    parts.emplace_back(text.substr(0, end));
    if (end == std::string_view::npos) return parts;
    text.remove_prefix(end + 1);
  }
}

std::optional<Target> read_target(std::string_view text) {
  Target target;
  const std::size_t mark = text.find('?');
  target.path = text.substr(0, mark);
  if (!target.path.starts_with('/')) return std::nullopt;
  if (mark == std::string_view::npos || mark + 1 == text.size()) return target;
  const auto fields = split(text.substr(mark + 1), '&');
  if (fields.size() > query_fields_max) return std::nullopt;
  for (const std::string& field : fields) {
    const std::size_t equals = field.find('=');
    auto name = decode(std::string_view(field).substr(0, equals), true);
    auto value = decode(equals == std::string::npos ? std::string_view() : std::string_view(field).substr(equals + 1), true);
    if (!name || !value) return std::nullopt;
    target.query.emplace_back(std::move(*name), std::move(*value));
  }
  return target;
}

}  // namespace steadyglow::http
