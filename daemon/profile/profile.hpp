#pragma once
/// What is measured on a kind of unit, and what is normal there: values only.
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/ids.hpp"
#include "core/timestamp.hpp"
#include "core/units.hpp"
#include "core/uom.hpp"

namespace steadyglow::profile {

/// What a point is for. It decides which physics is expected of it (see analysis/compensation.hpp).
enum class Role : std::uint8_t {
  bias,            ///< idle current, or the millivolts over its sense resistor
  grid_bias,       ///< negative grid supply
  supply,          ///< B+ or a rail
  heater,
  offset,          ///< DC that should be zero
  heatsink,
  transformer,
  motor,
  chassis,
  ambient,
  supply_current,
  mains_voltage,
  mains_current,
  mains_power,
  level,           ///< audio level
  speed,
  other
};
inline constexpr std::uint8_t role_count = 17;

std::string_view to_word(Role role);
std::optional<Role> role_from_word(std::string_view word);
std::vector<std::string_view> role_words();

/// How the unit is driven during the soak.
enum class Drive : std::uint8_t { idle, steady, programme };

/// Limits on one side each, in the point's uom; an absent side has no limit.
struct Band {
  std::optional<double> low;
  std::optional<double> high;
  bool empty() const { return !low && !high; }
};

/// On and off delays of a limit: common practice, no source (warn 60 s, trip 10 s).
inline constexpr Duration warn_dwell_default = std::chrono::seconds{60};
inline constexpr Duration trip_dwell_default = std::chrono::seconds{10};

/// What the maker of a meter says of a reading y, in the words of the data sheet; figures in the point's uom:
/// |error| <= percent_of_reading/100 |y| + counts resolution + percent_of_range/100 range + fixed.
struct Accuracy {
  double percent_of_reading = 0.0;
  double counts = 0.0;      ///< last digits ("+ 3 counts", "+ 3 dgt")
  double resolution = 0.0;  ///< what one count is
  double percent_of_range = 0.0;
  double range = 0.0;       ///< full scale of the range in use
  double fixed = 0.0;       ///< a plain "+/- 1.5 K"
};

struct Point {
  std::string name;
  Quantity quantity = Quantity::voltage;
  Uom uom{};
  Role role = Role::other;
  std::optional<double> nominal;  ///< in uom
  Band warn;
  Band trip;
  Duration warn_dwell = warn_dwell_default;
  Duration trip_dwell = trip_dwell_default;
  std::vector<PointId> matched_with;
  std::optional<Ohms> sense;
  std::optional<Watts> rated;  ///< plate dissipation
  std::optional<Accuracy> accuracy;  ///< of what measures this point
  bool is_protective = false;  ///< losing it counts as losing sight of a hazard
  std::string source;          ///< where the limits come from
  std::string note;

  bool is_temperature() const { return quantity == Quantity::temperature; }
  bool is_mains() const {
    return role == Role::mains_voltage || role == Role::mains_current || role == Role::mains_power;
  }
};

inline constexpr std::size_t points_max = 64;

struct Profile {
  std::string kind;
  std::string title;
  std::string source;
  std::optional<Volts> mains_nominal;
  Drive drive = Drive::idle;
  std::optional<Duration> warm_up;
  std::vector<Point> points;

  const Point& point(PointId id) const { return points[id.index]; }
  std::optional<PointId> find(std::string_view name) const;
  std::optional<PointId> first_of(Role role) const;
};

}  // namespace steadyglow::profile
