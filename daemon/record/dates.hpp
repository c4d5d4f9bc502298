#pragma once
/// Labels of the clock on the wall, in and out, without a locale.
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace steadyglow::record {

/// Milliseconds since 1970 of an RFC 3339 date-time in UTC ("2026-01-31T22:00:00Z", with or without a fraction).
std::optional<std::int64_t> utc_from_text(std::string_view text);
/// RFC 3339 to the second, in UTC.
std::string utc_text(std::int64_t utc_ms);
/// "31 January 2026".
std::string date_words(std::int64_t utc_ms);
/// "31 January 2026, 22:00 UTC".
std::string moment_words(std::int64_t utc_ms);
/// Milliseconds since 1970 of an RFC 3339 full-date ("2026-01-31") that exists; nothing otherwise.
std::optional<std::int64_t> date_from_text(std::string_view text);

}  // namespace steadyglow::record
