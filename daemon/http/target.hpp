#pragma once
/// The target of a request, taken apart (RFC 3986 3.3, 3.4; RFC 9112 3.2).
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace steadyglow::http {

struct Target {
  std::string path;  ///< begins with '/', as sent: only the NAME of an order is decoded, so nothing is hidden in it
  std::vector<std::pair<std::string, std::string>> query;  ///< names and values, decoded

  /// The value of a name; nothing when it is absent.
  std::optional<std::string_view> value(std::string_view name) const;
};

/// Nothing for what is no origin-form target, for a bad percent code, and for more than query_fields_max fields.
std::optional<Target> read_target(std::string_view text);
inline constexpr std::size_t query_fields_max = 16;

/// Percent codes (RFC 3986, 2.1) as the bytes that they stand for; nothing for a bad one.
std::optional<std::string> decode(std::string_view text, bool is_plus_blank);

/// Is this where a photo is sent to: /api/v1/cards/NAME/photos? The one address with a body that is no JSON.
bool is_photo_address(std::string_view target);

/// Splits at a character; empty parts stay.
std::vector<std::string> split(std::string_view text, char at);

}  // namespace steadyglow::http
