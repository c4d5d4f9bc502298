#pragma once
/// What every driver does with text in the same way.
#include <string>
#include <string_view>

#include "core/result.hpp"

namespace steadyglow::drivers {

inline constexpr std::string_view white = " \t\r\n";
/// With the byte that fills a field of fixed width up. Not for a serial line: there a byte with a parity error comes as 0, and must stay.
inline constexpr std::string_view white_and_padding{" \t\r\n\0", 5};

/// Without what stands at its ends and says nothing.
inline std::string_view trimmed(std::string_view text, std::string_view nothing = white) {
  const auto first = text.find_first_not_of(nothing);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(nothing) - first + 1);
}

/// The trouble that every driver tells of a stranger (MeterReply::is_stranger): what it calls itself, and who was meant.
inline std::string stranger_words(std::string_view answers, std::string_view bound) {
  return "`" + std::string(answers) + "` answers where `" + std::string(bound) + "` is bound";
}

/// What went wrong and what to do about it, for MeterReply::trouble.
inline std::string with_hint(const Error& error) { return error.hint.empty() ? error.message : error.message + " (" + error.hint + ")"; }

}  // namespace steadyglow::drivers
