#pragma once
/// How well the alarm system itself behaves: the figures of ANSI/ISA-18.2-2016, 16.4 (seen in a compliance document that
/// quotes the sections).
#include <array>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "alarm/fact.hpp"

namespace steadyglow::alarm {

struct FiguresNow {
  double hours = 0.0;                ///< of observation
  double per_hour = 0.0;             ///< annunciated; 6 very likely acceptable, 12 the most that can be managed
  double per_10_min = 0.0;           ///< 1 and 2
  std::uint64_t most_in_10_min = 0;  ///< in one ten-minute period: 10
  double flood_share = 0.0;          ///< of ten-minute periods above 10: under 1 %
  double time_in_flood = 0.0;        ///< share of the time observed: under 1 %
  bool is_flood = false;
  std::uint64_t standing_over_24_h = 0;  ///< under 5
  std::vector<std::string> chattering;   ///< none
  std::array<std::uint64_t, priority_count> by_priority{};
  std::vector<std::pair<std::string, std::uint64_t>> top;  ///< what was annunciated most often, at most top_max
  double top_share = 0.0;            ///< of all that was annunciated: 1 to 5 % in a plant of thousands of alarms
  std::uint64_t shelved = 0;
};

/// One row of the standard's tables: a figure, what it should be, and whether it is.
struct FigureRow {
  std::string name;
  double value = 0.0;
  double target = 0.0;  ///< acceptable up to here
  double limit = 0.0;   ///< not to be managed beyond; the target where the table gives no second figure
  bool is_met = true;   ///< against the target
  std::string section;
};
std::vector<FigureRow> against_the_table(const FiguresNow& now);

/// Pure; told the time by the facts and by at().
class Figures {
 public:
  static constexpr Duration period = std::chrono::minutes{10};
  static constexpr std::uint64_t flood_above = 10;  ///< in 10 min: a flood begins
  static constexpr std::uint64_t flood_below = 5;   ///< in 10 min: it is over
  static constexpr Duration stale_after = std::chrono::hours{24};
  static constexpr Duration chatter_within = std::chrono::minutes{1};
  static constexpr std::size_t chatter_count = 3;   ///< activations within that: from memory
  static constexpr Duration kept = std::chrono::hours{30 * 24};  ///< the standard asks for 30 days at least
  static constexpr std::size_t kept_max = 50'000;   ///< annunciations; a bench that makes more has other troubles
  static constexpr std::size_t top_max = 10;

  explicit Figures(Timestamp began) : began_(began) {}
  /// Every transition of every alarm.
  void note(const Fact& fact);
  FiguresNow at(Timestamp now) const;

 private:
  struct Annunciation {
    Timestamp at;
    Priority priority;
    std::string name;
  };
  struct Flood {
    Timestamp from, to;
  };
  /// How many came in the ten minutes that end now, and whether they are a flood.
  struct Window {
    std::deque<Timestamp> times;
    bool is_flood = false;
    Timestamp since{};
    std::deque<Flood> floods;

    /// What is older than ten minutes leaves; a flood may end by that.
    void pass(Timestamp now);
    void add(Timestamp at);
  };
  struct Standing {
    State state = State::normal;
    Timestamp since{};
  };
  void forget(Timestamp now);

  Timestamp began_;
  std::map<std::int64_t, Standing> known_;  ///< alarms that are not normal
  std::map<std::string, std::deque<Timestamp>> recent_;  ///< the last activations of a kind at a point
  std::map<std::string, Timestamp> chattered_at_;
  std::deque<Annunciation> annunciated_;
  Window window_;
};

}  // namespace steadyglow::alarm
