#pragma once
/// What a run goes through: stages with durations.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/timestamp.hpp"

namespace steadyglow::profile {

enum class StageKind : std::uint8_t { bring_up, warm_up, baseline, idle_soak, driven_soak, cool_down, power_cycles, final_check };
inline constexpr std::uint8_t stage_kind_count = 8;

std::string_view to_word(StageKind kind);

struct Stage {
  StageKind kind = StageKind::idle_soak;
  Duration planned{};       ///< for a counted stage: hours that must count, not hours that pass
  bool is_counted = false;  ///< only soak stages count
  int cycles = 0;           ///< power_cycles: how often it is switched off and on again
  Duration on{};            ///< power_cycles: for how long it is on
  Duration off{};           ///< and off
};

inline constexpr std::size_t stages_max = 32;
/// A unit that is told to be off must draw nothing within this time: common practice, no source.
inline constexpr Duration off_proven_within_default = std::chrono::seconds{2};
/// A point that gave no good reading for this long is silent; the unit is cut when every protective point has been
/// silent for the second of these. Common practice, no source.
inline constexpr Duration silent_after_default = std::chrono::seconds{60};
inline constexpr Duration blind_trip_after_default = std::chrono::seconds{60};
/// A unit that still draws power so long after its first order costs the whole bench its supply: common practice, no source.
inline constexpr Duration bench_opened_after_default = std::chrono::seconds{4};
/// A supply that is not below safe_volts so long after the outlet opened has a bleeder that is open: common practice, no source.
inline constexpr Duration bleed_down_default = std::chrono::minutes{5};

struct Plan {
  std::string title;
  std::vector<Stage> stages;
  bool is_off_at_end = true;
  Duration off_proven_within = off_proven_within_default;
  Duration silent_after = silent_after_default;
  Duration blind_trip_after = blind_trip_after_default;
  Duration bench_opened_after = bench_opened_after_default;
  Duration bleed_down = bleed_down_default;

  Duration counted_planned() const;
};

/// The plan of somebody who gave none: warm-up 60 min, baseline 30 min, then an idle soak for as long as readings come.
Plan plan_without_file();

}  // namespace steadyglow::profile
