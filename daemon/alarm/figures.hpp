#pragma once
/// How well the alarm system itself behaves: the figures of ANSI/ISA-18.2-2016, 16.4 (seen in a compliance document that
/// quotes the sections).
#include <array>
#include <cstdint>
#include <deque>
#include <map>
#include <string>
#include <vector>

#include "alarm/fact.hpp"

namespace steadyglow::alarm {

struct FiguresNow {
  double hours = 0.0;                ///< of observation
  double per_hour = 0.0;             ///< annunciated; 6 very likely acceptable, 12 the most that can be managed
  double per_10_min = 0.0;           ///< 1 and 2
  std::uint64_t most_in_10_min = 0;  ///< 10
  double flood_share = 0.0;          ///< of ten-minute periods above 10: under 1 %
  bool is_flood = false;
  std::uint64_t standing_over_24_h = 0;  ///< under 5
  std::vector<std::string> chattering;   ///< none
  std::array<std::uint64_t, priority_count> by_priority{};
  std::uint64_t shelved = 0;
};

/// Pure; told the time by the facts and by now().
class Figures {
 public:
  static constexpr Duration period = std::chrono::minutes{10};
  static constexpr std::uint64_t flood_above = 10;  ///< in 10 min: a flood begins
  static constexpr std::uint64_t flood_below = 5;   ///< in 10 min: it is over
  static constexpr Duration stale_after = std::chrono::hours{24};
  static constexpr Duration chatter_within = std::chrono::minutes{1};
  static constexpr std::size_t chatter_count = 3;   ///< activations within that: from memory
  static constexpr Duration kept = std::chrono::hours{30 * 24};  ///< the standard asks for 30 days at least

  explicit Figures(Timestamp began) : began_(began) {}
  /// Every transition of every alarm.
  void note(const Fact& fact);
  FiguresNow at(Timestamp now) const;

 private:
  struct Known {
    State state = State::normal;
    Timestamp standing_since{};
    std::string name;
  };
  Timestamp began_;
  std::map<std::int64_t, Known> known_;
  std::map<std::string, std::deque<Timestamp>> by_name_;  ///< activations of a kind at a point
  std::vector<std::string> chattering_;
  std::deque<Timestamp> annunciated_;
  std::array<std::uint64_t, priority_count> by_priority_{};
};

}  // namespace steadyglow::alarm
