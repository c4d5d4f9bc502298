#pragma once
/// What a shop knows of a unit: what it is, what was done to it, its runs and returns; folded from the journal, only ever added to.
#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/result.hpp"

namespace steadyglow::card {

enum class EntryKind : std::uint8_t { unit, photo, repair, tube, adjustment, safety_test, sold, returned, remark };
std::string_view to_word(EntryKind kind);
std::optional<EntryKind> entry_kind_from_word(std::string_view word);
/// "unit, photo, repair ...": for hints.
std::string entry_kind_words();

/// Of all cards alike. Texts are UTF-8 without control characters.
inline constexpr std::size_t name_bytes_max = 64;         ///< of a card: letters, digits, - _ .
inline constexpr std::size_t who_bytes_max = 80;
inline constexpr std::size_t short_text_bytes_max = 120;  ///< a model, a socket, a part
inline constexpr std::size_t text_bytes_max = 1000;
inline constexpr std::size_t parts_max = 60;
inline constexpr double hours_max = 200'000.0;            ///< 22 years of power
inline constexpr std::int64_t day_slack_ms = 36LL * 3600 * 1000;  ///< a day may be called tomorrow further east

/// One thing that somebody wrote on a card. `fields` hold what API.md lists for the kind, checked.
struct Entry {
  std::int64_t id = 0;      ///< number of its row in the journal; 0: not written yet
  std::int64_t utc_ms = 0;  ///< when it was written
  std::string card;         ///< name of the card
  std::string serial;       ///< of the unit, as far as it was known then; may be empty
  std::string who;
  EntryKind kind = EntryKind::remark;
  std::int64_t corrects = 0;      ///< id of the entry in whose place it stands; 0: none
  std::int64_t corrected_by = 0;  ///< it counts no more; 0: it counts
  nlohmann::ordered_json fields = nlohmann::ordered_json::object();

  /// A text field; empty where there is none.
  std::string text(const char* field) const;
  std::optional<double> number(const char* field) const;
  std::vector<std::string> texts(const char* field) const;
  bool flag(const char* field) const;
};

/// Refuses a bad name of a card, a missing name of a person, fields that are unknown, missing, of the wrong kind or beyond their bounds,
/// a day that does not exist or lies in the future of `entry.utc_ms`. Fault::usage, with a hint. Whether `corrects` fits is the cards' to say.
Result<void> check(const Entry& entry);

/// The entry in one sentence, for a list.
std::string sentence_of(const Entry& entry);

/// A row of the journal, seen from here.
struct Row {
  std::int64_t seq = 0;
  std::int64_t utc_ms = 0;
  std::string kind;
  std::string json;
};

/// As it stands in the journal: kind and JSON object. A safety test is the `unit_fact` that the list before leaving asks for.
struct RowText {
  std::string kind;
  std::string json;
};
RowText row_of(const Entry& entry);
/// Nothing for rows that are no entry. What no longer passes check() is taken as it is: the journal is not rewritten.
std::optional<Entry> entry_of(const Row& row);

/// Milliseconds since 1970 of the beginning of an RFC 3339 full-date in UTC; nothing for a day that does not exist.
std::optional<std::int64_t> day_ms(std::string_view day);

}  // namespace steadyglow::card
