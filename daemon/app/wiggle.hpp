#pragma once
/// The wiggle test: somebody touches one clip, and exactly one trace ought to move. Which one did? Pure.
#include <optional>
#include <span>
#include <vector>

namespace steadyglow::app {

/// One reading. The value of one that is not good is never looked at.
struct WiggleSample {
  double at_s = 0.0;  ///< any clock, the same for all
  double value = 0.0;
  bool is_good = true;
};

struct WiggleTrace {
  std::vector<WiggleSample> samples;  ///< oldest first
  double least = 0.0;                 ///< what counts as noise at least, in the values' uom: a meter's last digit flips
};

enum class WiggleState {
  unread,    ///< too few readings to know its noise
  quiet,
  moved,     ///< left its own noise
  went,      ///< its reading was good and is gone: the clip came off
  came,      ///< there was no reading, and there is one now
};

struct WigglePoint {
  WiggleState state = WiggleState::unread;
  double noise = 0.0;       ///< its usual spread (one sigma), in its uom
  double moved_by = 0.0;    ///< how far the newest readings left the usual value at most, signed, in its uom
  double times_noise = 0.0; ///< the same in sigmas, without a sign
};

struct WiggleAnswer {
  std::vector<WigglePoint> points;  ///< as the traces
  std::size_t movers = 0;
  std::optional<std::size_t> mover;  ///< the one that moved alone
};

inline constexpr double wiggle_recent_seconds = 4.0;      ///< what counts as now
inline constexpr double wiggle_reference_seconds = 30.0;  ///< before that: what its noise is learned from
inline constexpr std::size_t wiggle_reference_readings_min = 5;
/// A slow meter is given as long as it needs for so many readings, but not longer than this.
inline constexpr double wiggle_reference_seconds_max = 90.0;
/// Common practice, no source: healthy readings keep within five sigmas, a touch moves them by far more.
inline constexpr double wiggle_factor = 8.0;

/// `now_s` on the samples' clock.
WiggleAnswer who_moved(std::span<const WiggleTrace> traces, double now_s);

/// What was seen stays true so long: somebody walks back from the bench to tick it off.
inline constexpr double wiggle_hold_seconds = 8.0;

/// Remembers which trace was the last to move alone. Where several moved, none did until all were still again: crosstalk shows up later on a
/// slow meter than on a quick one.
class LastAlone {
 public:
  struct Mover {
    std::size_t point = 0;
    double first_s = 0.0;  ///< when it was first seen to, on the samples' clock
    double last_s = 0.0;   ///< and last
  };
  void take(const WiggleAnswer& answer, double now_s);
  /// Empty after wiggle_hold_seconds.
  std::optional<Mover> mover(double now_s) const;

 private:
  std::optional<Mover> mover_;
  bool was_crowd_ = false;
};

}  // namespace steadyglow::app
