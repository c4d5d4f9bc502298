#pragma once
/// How a unit starts: what it draws at most and then, and how soon its currents and supplies stand.
#include <optional>
#include <string>
#include <vector>

#include "core/reading.hpp"
#include "profile/profile.hpp"

namespace steadyglow::soak {

/// One start, as far as its meters were read often enough to see it.
struct Start {
  struct Point {
    PointId id{};
    double steady = 0.0;  ///< in the point's uom, median of the last minute that was watched
    Duration reached{};   ///< 90 % of that, from the order to close
  };
  std::vector<Point> points;
  std::optional<PointId> draw;  ///< what peak speaks of: watts, else amperes
  double peak = 0.0;            ///< in its uom; the inrush of a transformer lasts milliseconds and is not seen
  Duration distance{};          ///< longest distance of two readings of one point
};

class StartWatch {
 public:
  /// A start is watched for this long, and a point stands at this share of what it comes to: common practice, no source.
  static constexpr Duration window = std::chrono::minutes{5};
  static constexpr double steady_share = 0.9;
  /// Each start like the first: the shop's rule, no source.
  static constexpr double like_share = 0.10;
  static constexpr Duration like_least = std::chrono::seconds{2};
  static constexpr Duration peak_seen_at = std::chrono::seconds{2};  ///< readings further apart say nothing of a peak

  explicit StartWatch(const profile::Profile& profile);
  void begin(Timestamp at);
  /// It was switched off before it could be seen.
  void forget() { began_.reset(); }
  /// A good reading. Returns the start when its window is over and there was enough to see.
  std::optional<Start> take(const Reading& reading);

  /// "at most 121 W, ...; v3_mv 380 mV, 90 % after 41 s": its draw and the slowest of each role.
  std::string text(const Start& start) const;
  /// What is not like the first; empty when all is.
  std::string difference(const Start& start, const Start& first) const;

 private:
  struct Sample {
    Duration after;
    double value;
  };
  static constexpr std::size_t samples_max = 4096;  ///< per point
  static constexpr std::size_t samples_min = 3;
  Start judge() const;

  const profile::Profile* profile_;
  std::optional<PointId> draw_;
  std::vector<bool> is_watched_;
  std::optional<Timestamp> began_;
  std::vector<std::vector<Sample>> samples_;
};

}  // namespace steadyglow::soak
