#pragma once
/// The stored runs as the cards see them: what each came to, and its hours, found once by telling it again and kept in the journal.
#include <chrono>
#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "card/cards.hpp"
#include "core/result.hpp"
#include "store/reader.hpp"

namespace steadyglow::app {

/// Journal kind of the row {"run","kind","counted_s","powered_s","failed_s"}: of a run that is over. A later row of the same run is not looked at.
inline constexpr std::string_view run_hours_row = "run_hours";

struct RunHours {
  std::int64_t run = 0;
  std::string kind;  ///< of the profile
  double counted = 0.0;
  double powered = 0.0;
  /// With power, at the first trip; without one, at the first warning that the unit itself gave rise to.
  std::optional<double> failed;

  std::string row_json() const;
};
std::optional<RunHours> run_hours_from(const store::JournalRow& row);

/// Thread: any; about a second for two days of sixteen points. Fails with bad_data when the profile or plan of the run cannot be read, and
/// as the reader does.
Result<RunHours> hours_of(store::StoreReader& reader, const store::RunRow& run);

/// What is known before a pass over the stored runs.
struct RunsKnown {
  std::map<std::int64_t, RunHours> hours;
  std::map<std::int64_t, card::RunSeen> settled;  ///< signed, with hours: not read again
  std::set<std::int64_t> unreadable;              ///< cannot be told again; they count nothing
};

struct RunsPass {
  std::vector<card::RunSeen> runs;  ///< oldest first
  std::vector<RunHours> fresh;      ///< for the journal
  std::set<std::int64_t> unreadable;
  std::size_t unread = 0;           ///< over, and there was no time to tell them again
};

/// Thread: any. Tells at most for about `patience` what nobody told yet.
Result<RunsPass> pass_over_runs(const std::string& store_file, const RunsKnown& known, std::chrono::milliseconds patience);

}  // namespace steadyglow::app
