#pragma once
/// One recorded night of one unit, made sample by sample, and what truly happened in it.
#include <deque>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "bench/detection/meter.hpp"
#include "bench/detection/unit.hpp"
#include "core/reading.hpp"
#include "profile/profile.hpp"

namespace steadyglow::detection {

/// What a fault shows of itself.
enum class Size {
  none,   ///< a healthy night
  tiny,   ///< below what the benchmark asks for
  small,  ///< 3.5 to 10 %
  large,  ///< 10 % and more
  meter   ///< the meter, not the unit
};
inline constexpr double small_effect = 0.035;
inline constexpr double large_effect = 0.10;

struct Truth {
  std::string unit;
  std::string fault;  ///< empty: healthy
  std::uint64_t seed = 0;
  double hours = 0.0;           ///< length of the recording
  double period_seconds = 0.0;
  Size size = Size::none;
  double onset = 0.0;           ///< s
  double effect = 0.0;          ///< largest against the healthy twin
  std::optional<double> seen_at;    ///< s, the moment from which a delay counts
  std::optional<double> damage_at;  ///< s
  std::vector<PointId> points;
  std::vector<std::string> kinds;
};

struct Order {
  std::string unit;
  std::string fault;  ///< empty: healthy
  std::uint64_t seed = 0;
  bool has_turns = false;  ///< each point is read at its own moment, as meters on a bus are; else all of a row at once
};

/// Names of what can go wrong with this very unit; meter faults begin with "meter: ".
std::vector<std::string> faults_of(const std::string& unit, std::uint64_t seed);

class Night {
 public:
  explicit Night(const Order& order);
  const std::string& profile_text() const { return profile_text_; }
  const profile::Profile& profile() const { return profile_; }
  /// The next row; false at the end. A row may be empty: nothing came.
  bool next(Timestamp& at, std::vector<Reading>& readings);
  /// Whole only after the last row.
  const Truth& truth();
  double warm_up_seconds() const { return unit_->warm_up_minutes * 60.0; }

 private:
  struct Row {
    Timestamp at;
    std::vector<Reading> readings;
  };
  struct Span {
    double from;
    double until;
    double share;
  };
  void draw_course(const Fault& fault);
  void draw_meter_fault(const std::string& name);
  double amount(double seconds) const;
  void move_on(double seconds);
  void compare(double seconds);
  Row measure(double seconds, std::span<const std::size_t> points);
  void measure_in_turns();

  Dice dice_;
  Truth truth_;
  std::unique_ptr<Unit> unit_;
  std::unique_ptr<Unit> twin_;  ///< the same without the fault
  std::unique_ptr<Surroundings> surroundings_;
  std::vector<Meter> meters_;
  std::string profile_text_;
  profile::Profile profile_;
  std::optional<Fault> fault_;
  MeterFault meter_fault_ = MeterFault::none;
  std::size_t swap_with_ = 0;
  double knob_start_ = 0.0;
  double final_amount_ = 0.0;
  double ramp_seconds_ = 0.0;
  std::vector<Span> spans_;  ///< jumping and bursts: when and how much
  std::vector<Span> bus_gaps_;
  double seconds_ = 0.0;     ///< of the physics
  double poll_ = 0.0;
  double end_ = 0.0;
  std::vector<std::size_t> order_;  ///< of the points, in which they have their turns
  bool has_turns_ = false;
  std::deque<Row> turns_;           ///< read, and not yet given
  std::optional<Row> late_row_;  ///< overtaken by the next
  std::optional<double> seen_small_, seen_large_;
};

}  // namespace steadyglow::detection
