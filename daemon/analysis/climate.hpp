#pragma once
/// What surrounds the unit and moves its figures: mains, room, and the heat that it makes; as felt at once and by heavy parts.
#include <array>
#include <cstdint>
#include <deque>
#include <optional>

#include "analysis/compensation.hpp"
#include "analysis/course.hpp"

namespace steadyglow::analysis {

/// Time constants from a small sink to an oven of a chassis; a mixture of them comes near any of those in between.
inline constexpr std::array<double, 3> lags_minutes{10.0, 40.0, 150.0};

struct ClimateNow {
  double ln_mains = 0.0;                ///< ln(V / V nominal); 0 when not measured
  std::array<double, 3> mains_lag{};
  std::array<double, 3> room_lag{};      ///< K from the first room temperature of the run; 0 until there is one
  std::array<double, 3> power_lag{};    ///< of the power relative to its reference, from cold
};

class Climate {
 public:
  static constexpr std::size_t recent_minutes = 96;
  struct Input {
    std::optional<double> ln_mains;
    bool is_mains_guessed = false;      ///< shown by the unit itself, not measured
    std::optional<double> room;
    bool is_room_guessed = false;       ///< the chassis stands for it
    std::optional<double> watts;        ///< mean of the minute: heat follows the mean
  };
  /// A minute has passed. `minute`: of run time, ascending.
  void step(std::int64_t minute, const Input& input);

  const ClimateNow& now() const { return now_; }
  /// What prevailed in that block (middle of it); nothing when it was not seen.
  const ClimateNow* block(std::int64_t block) const;
  /// The mean so far of the block that is not over yet.
  ClimateNow open_block() const;
  /// What prevailed in one of the last `recent_minutes` minutes.
  const ClimateNow* minute(std::int64_t minute) const;
  /// The room now, degC; 0 while nobody measured it.
  double room() const { return room_now_; }
  bool has_mains() const { return has_mains_; }
  /// How much of what the mains may do is not seen: 0 measured, 1 not at all.
  double unseen_mains() const { return !has_mains_ ? 1.0 : is_guessed_ ? 0.6 : 0.0; }
  bool has_room() const { return has_room_; }
  /// How much of what the room may do is not seen.
  double unseen_room() const { return !has_room_ ? 1.0 : is_room_guessed_ ? 0.25 : 0.0; }
  bool has_power() const { return has_power_; }

 private:
  void close_block();
  double steady_room(double room);
  struct Block {
    std::int64_t index;
    ClimateNow at;
  };
  ClimateNow now_;
  std::array<double, 5> rooms_{};      ///< the last minutes: a probe that is knocked is no weather
  std::size_t room_count_ = 0;
  std::array<Lag, 3> mains_{Lag(lags_minutes[0]), Lag(lags_minutes[1]), Lag(lags_minutes[2])};
  std::array<Lag, 3> room_{Lag(lags_minutes[0]), Lag(lags_minutes[1]), Lag(lags_minutes[2])};
  std::array<Lag, 3> power_{Lag(lags_minutes[0]), Lag(lags_minutes[1]), Lag(lags_minutes[2])};
  std::deque<Block> blocks_;
  std::array<Block, recent_minutes> recent_{};  ///< index: minute + 1, 0 is empty
  std::int64_t open_ = -1;
  ClimateNow sum_;
  int count_ = 0;
  bool has_mains_ = false;
  bool is_guessed_ = false;
  bool is_room_guessed_ = false;
  bool has_room_ = false;
  bool has_power_ = false;
  std::optional<double> reference_watts_;
  double last_power_ = 1.0;          ///< a minute without watts goes with the one before
  double room_now_ = 0.0;
  double first_room_ = 0.0;
};

}  // namespace steadyglow::analysis
