#pragma once
/// Cards as a shop writes them, for the tests.
#include <string>

#include "card/cards.hpp"
#include "card/lives.hpp"

namespace steadyglow::card {

inline constexpr std::int64_t day_of_tests_ms = 1'767'225'600'000;  ///< 2026-01-01T00:00:00Z
inline constexpr std::int64_t ms_per_hour = 3'600'000;

/// Gives its entries rising numbers, an hour apart.
class Shop {
 public:
  Entry draft(const std::string& card, EntryKind of, nlohmann::ordered_json fields, std::int64_t corrects = 0) const {
    Entry entry;
    entry.utc_ms = now_ms;
    entry.card = card;
    entry.who = "Ada";
    entry.kind = of;
    entry.corrects = corrects;
    entry.fields = std::move(fields);
    return entry;
  }
  /// Written as the journal keeps it. Returns the entry's number.
  std::int64_t write(const std::string& card, EntryKind of, nlohmann::ordered_json fields, std::int64_t corrects = 0) {
    const RowText text = row_of(draft(card, of, std::move(fields), corrects));
    cards.take(Row{++last_seq, now_ms, text.kind, text.json});
    now_ms += ms_per_hour;
    return last_seq;
  }
  void run(const std::string& unit, const std::string& serial, const std::string& word, double counted, std::optional<double> failed = {}) {
    RunSeen seen;
    seen.id = ++last_run;
    seen.unit = unit;
    seen.title = title;
    seen.serial = serial;
    seen.kind = kind;
    seen.started_ms = now_ms;
    seen.started_utc = utc_text(now_ms);
    seen.ended_utc = utc_text(now_ms + 1);
    seen.state = "ended";
    seen.word = word;
    seen.counted_hours = counted;
    seen.powered_hours = counted + 1.5;
    seen.failed_hours = failed;
    cards.take(seen);
    now_ms += ms_per_hour;
  }
  const Card& card(const std::string& name) const { return *cards.find_card(name); }

  Cards cards;
  std::string title = "Wexmere M50";
  std::string kind = "tube-pp-fixed-bias";
  std::int64_t now_ms = day_of_tests_ms;
  std::int64_t last_seq = 0;
  std::int64_t last_run = 0;
};

}  // namespace steadyglow::card
