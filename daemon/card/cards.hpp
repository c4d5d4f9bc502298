#pragma once
/// The cards of all units: entries and runs put together, and found again.
#include <cstdint>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "card/entry.hpp"
#include "core/result.hpp"

namespace steadyglow::card {

inline constexpr std::size_t find_text_bytes_max = 200;

/// What a run came to. Hours are hours with power unless said otherwise.
struct RunSeen {
  std::int64_t id = 0;
  std::string unit;    ///< its name in the configuration of that day
  std::string title;
  std::string serial;
  std::string kind;    ///< of the profile
  std::string plan;
  std::string started_utc;
  std::int64_t started_ms = 0;  ///< since 1970
  std::string ended_utc;        ///< empty while it goes on
  std::string state;            ///< running | ended
  std::string word;             ///< of the signature, else as proposed; empty: none
  std::string signed_by;
  std::optional<double> counted_hours;  ///< nothing until the run was told again
  std::optional<double> powered_hours;
  bool counts_nothing = false;          ///< it cannot be told again, or was brought in from a file: nothing for the shop's memory
  std::optional<double> failed_hours;   ///< at the first trip, or alarm of a fault of the unit; only when it failed
};

/// A unit that stands in the configuration.
struct ConfiguredUnit {
  std::string name, title, serial, kind;
};

/// As plated, from all entries of kind `unit` that count.
struct Plate {
  std::string title, kind, maker, model, serial, stock_number;
  std::optional<double> nameplate_volts, nameplate_hertz;
};

enum class Whereabouts : std::uint8_t { in_shop, sold, returned };
std::string_view to_word(Whereabouts whereabouts);

struct Card {
  std::string name;
  Plate plate;                      ///< as written; what nobody wrote, as seen
  Plate seen;                       ///< as the configuration and the runs have it
  std::string configured_as;        ///< name in the configuration; empty: it is not there
  std::vector<Entry> entries;       ///< oldest first, corrected ones too
  std::vector<RunSeen> runs;        ///< oldest first
  std::set<std::string> serials;    ///< all it was known by, squeezed
  std::set<std::string> units;      ///< names that it had in the configuration

  /// Those that count: not corrected, and no correction that only withdraws.
  std::vector<const Entry*> standing(EntryKind kind) const;
  /// The newest standing entry for each socket, by socket.
  std::vector<const Entry*> tubes() const;
  Whereabouts whereabouts() const;
  std::int64_t changed_ms() const;  ///< of the newest entry or run; 0: none
  /// Title, else maker and model, else the name.
  std::string title() const;
};

struct FoundBy {
  std::string field;
  std::string text;
};

struct Found {
  const Card* card = nullptr;
  int rank = 0;  ///< greater is better
  std::vector<FoundBy> by;
};

/// Letters and digits alone, small: "B35-0117 " and "b35 0117" are one. Bytes beyond ASCII stay.
std::string squeezed(std::string_view text);

/// Value; folds rows in any grouping as long as rows, configured units and runs each come in their order, rows first.
class Cards {
 public:
  /// Rows that are no entries are passed over.
  void take(const Row& row);
  void take(const ConfiguredUnit& unit);
  void take(const RunSeen& run);

  const std::vector<Card>& all() const { return cards_; }
  const Card* find_card(std::string_view name) const;
  /// The card of what stands under this name and serial number in the configuration or a run; nothing: none yet.
  const Card* card_of(std::string_view unit, std::string_view serial) const;
  /// Every word of `text`, or all of it, in a serial or stock number, title, maker, model, tube or name; best first, then newest first.
  std::vector<Found> find(std::string_view text) const;

  /// May it be written? As check(), and: `corrects` must be an entry of this card that still stands, of the same kind or withdrawn by a remark
  /// (a safety test only by another one: what decides about leaving a unit alone is not taken back by a remark).
  /// Fails: bad_data for an entry that is not there, permission for one that was corrected before, else usage.
  Result<void> accepts(const Entry& entry) const;

 private:
  std::size_t attach(const std::string& unit, const std::string& serial, const std::string& title);
  std::optional<std::size_t> index_of(std::string_view unit, std::string_view serial, std::string_view title) const;
  std::size_t card_named(const std::string& name);
  void write(Card& card, Entry entry);

  std::vector<Card> cards_;
};

/// The objects of API.md. `by`: why it was found.
nlohmann::ordered_json to_list_json(const Card& card, const std::vector<FoundBy>& by = {});
nlohmann::ordered_json to_json(const Card& card);
nlohmann::ordered_json to_json(const RunSeen& run);
/// RFC 3339 in UTC, to the second.
std::string utc_text(std::int64_t utc_ms);

}  // namespace steadyglow::card
