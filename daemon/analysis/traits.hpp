#pragma once
/// What healthy figures of a role are like before this unit has shown anything: how they follow mains, room and power,
/// how they settle, how much they wander, and how far they must go before it is worth a word.
#include <cstdint>
#include <optional>

#include "analysis/course.hpp"
#include "profile/profile.hpp"

namespace steadyglow::analysis {

/// On which scale a point is judged.
enum class Scale : std::uint8_t {
  logarithm,  ///< positive electrical figures, speed, level: differences are shares
  linear,     ///< offsets: 1 is the nearest warning limit; decibels: 1 is a neper, so that differences are shares here too
  kelvin,
};

struct Traits {
  Scale scale = Scale::logarithm;
  double unit = 1.0;              ///< linear: y = value / unit
  Prior mains;                    ///< exponent
  double room_sd = 0.0;           ///< y per kelvin of the room
  double power_sd = 0.0;          ///< y per reference power, for what remembers loud passages
  double settle_sd = 0.0;         ///< y: what may still settle with hours, at most about
  CourseNoise noise;              ///< expected of a healthy one
  double margin = 0.0;            ///< y: less is not worth a word
  double margin_quick = 0.0;      ///< y: the same for movements of minutes
  bool is_judged = true;
  std::int64_t silent_minutes = 0;  ///< after a beginning: what it takes until one knows how it behaves
  bool is_sparse = false;         ///< shows itself only in the quiet moments of a programme
  bool is_lifted = false;         ///< is_sparse: programme adds to it (currents); false: takes from it (supplies)
};

/// All figures: common practice and physics (three-halves law, -2 mV/K per junction, copper), no source.
/// has_transport: the unit has a speed; what turns with it moves with the reel and the side.
Traits traits_of(const profile::Point& point, profile::Drive drive, bool has_transport);
/// The same for the difference of two matched points: what they share falls out.
Traits traits_of_difference(const Traits& own);

/// A reading (uom) on the scale of its traits; nothing where there is no logarithm.
std::optional<double> on_scale(const Traits& traits, double value);

}  // namespace steadyglow::analysis
