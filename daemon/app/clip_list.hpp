#pragma once
/// Where to clip, point by point: what a person holds in the hand while they wire a unit. Pure: from the configuration alone.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "app/settings.hpp"

namespace steadyglow::app {

enum class ClipSign { none, positive, negative, either, rises_with_heat };
/// What the second lead goes to.
enum class ClipReference { none, ground, own_resistor, other_pin };
std::string_view to_word(ClipSign sign);
std::string_view to_word(ClipReference reference);

struct Clip {
  std::string point;
  std::string channel;    ///< "analog_a.ch5"
  std::string bus;        ///< "bench_1 (192.168.40.21:502)"
  std::string where;      ///< the profile's note; may be empty
  std::string chain;      ///< from the meter's figure to the point's, in words
  std::string between;    ///< its first part in a word ("divider"); empty: the meter's figure is taken as it is
  ClipSign sign = ClipSign::none;
  ClipReference reference = ClipReference::none;
  std::string sign_words;
  std::string reference_words;
  std::string quantity;
  std::string shown_uom;
  std::optional<double> nominal;         ///< in the point's uom
  std::optional<double> expected_volts;  ///< the highest that a healthy unit or one at its limit shows, V; empty: not a voltage, or not stated
  std::optional<double> at_worst_volts;  ///< what may stand at the clip when a part fails, V; empty: the profile states no supply
  bool is_protective = false;
  bool is_mains = false;
  std::vector<std::string> cautions;
};

/// What holds for every clip of a unit.
std::vector<std::string> clip_cautions();
std::vector<Clip> clip_list(const UnitSettings& unit, const std::vector<drivers::BusSpec>& buses);

}  // namespace steadyglow::app
